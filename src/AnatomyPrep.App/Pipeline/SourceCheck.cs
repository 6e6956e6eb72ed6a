using System.Security.Cryptography;
using AnatomyPrep.App.Cli;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Plans;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Formats;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.App.Pipeline;

/// <summary>Makes the surface of a recorded source again, before anything was repaired or shaped, and lays a model beside it.</summary>
internal sealed class SourceCheck(Workbench bench)
{
    /// <param name="landmarks">Null measures those of the recorded plan, if it has any.</param>
    /// <param name="modelPath">Any mesh said to be the record's model; origins are read from PLY, else all counts as measured.</param>
    /// <exception cref="BadInputException">The plan moves parts of the model differently, or has no surface; a file cannot be used.</exception>
    public (SourceAgreement Agreement, LandmarkFigures? Landmarks) Run(RunStatement statement, string sourcePath, string modelPath, LandmarkList? landmarks, double toleranceMm, RunContext run)
    {
        var model = MeshFile.Read(modelPath, CheckCommand.ReadOptions, run).Mesh;
        using var source = Load(statement, sourcePath, run);
        var plan = Parsed(statement);
        var (surface, placement) = Surface(source.State, plan, run);
        model = KnownPlacement.Undo(model, placement, run).Rebased(Vec3.Zero);
        surface = surface.Rebased(Vec3.Zero);
        if (landmarks is not null && source.State.SourceVolume is null)
            throw new BadInputException("verify", "landmarks", "the source is no images", "Landmarks are measured on models of images; leave --landmarks out.");
        var asked = landmarks ?? plan.Landmarks;
        var figures = asked is null || source.State.SourceVolume is not { } images
            ? null
            : LandmarkCheck.Measure(asked, new(TriangleTree.Build(surface, run), TriangleTree.Build(model, run), placement, images.Map, source.SliceThicknessMm), toleranceMm, run);
        return (ModelAgainstSource.Measure(model, surface, toleranceMm, run), figures);
    }

    /// <summary>Signed distance of every vertex of the recorded model to the source's surface, by vertex; positive outside it.</summary>
    /// <exception cref="BadInputException">As the other.</exception>
    public double[] Distances(RunStatement statement, string sourcePath, Mesh model, RunContext run)
    {
        using var source = Load(statement, sourcePath, run);
        var (surface, placement) = Surface(source.State, Parsed(statement), run);
        return SignedDistance.To(surface, run).OfVertices(KnownPlacement.Undo(model, placement, run), run);
    }

    /// <exception cref="CheckFailedException">It is not the source the record names.</exception>
    private LoadedSource Load(RunStatement statement, string path, RunContext run)
    {
        var recorded = statement.Run.Source;
        var source = new SourceLoader(bench.Folders).LoadAgain(FileOf(path, recorded, run), recorded, PartPath, run);
        var found = source.Facts.TreeSha256;
        if (found == recorded.TreeSha256)
            return source;
        source.Dispose();
        throw new CheckFailedException("source", recorded.TreeSha256, found);
    }

    /// <summary>The source's own surface; where steps place the model elsewhere, they are all run, to know where.</summary>
    private (Mesh Surface, Affine3 Placement) Surface(PipelineState state, PlanText plan, RunContext run)
    {
        var steps = plan.Plan.Steps;
        var surface = state.Mesh;
        var last = steps.Select(Moves).ToList().LastIndexOf(true);
        for (var s = 0; s < steps.Count && (surface is null || s <= last); s++)
        {
            run.ThrowIfCancelled();
            var before = state.Mesh;
            bench.Catalog.Function(steps[s].Name)(state, steps[s], run);
            state.Follow(before, Moves(steps[s]), run);
            surface ??= state.Mesh;
        }

        return (surface ?? state.Surface("verify"), state.Placement
            ?? throw new BadInputException("verify", "plan", "its steps move parts of the model differently", "Compare with the recorded model instead: compare MODEL DIR/model.stl."));
    }

    private PlanText Parsed(RunStatement statement) => bench.Plans.Parse(statement.Run.Plan.Text, statement.Run.Plan.Name);

    private bool Moves(PlanStep step) => bench.Catalog.TryFind(step.Name, out var spec) && spec.MovesModel;

    /// <summary>The folder of a series as it is; of any other source the one file in it that was recorded.</summary>
    private static string FileOf(string path, SourceFacts recorded, RunContext run)
    {
        if (recorded.Kind == SourceKind.CtSeries || !Directory.Exists(path))
            return path;
        foreach (var file in new DirectoryInfo(path).EnumerateFiles().OrderBy(f => f.Name, StringComparer.Ordinal))
        {
            run.ThrowIfCancelled();
            if (file.LinkTarget is not null || file.Length != recorded.Files[0].Bytes)
                continue;
            using var stream = file.OpenRead();
            if (Convert.ToHexStringLower(SHA256.HashData(stream)) == recorded.Files[0].Sha256)
                return file.FullName;
        }

        throw new BadInputException("verify", "source", "no file of the folder is the recorded one", "Give the folder of the file the model was made from.");
    }

    private string PartPath(string name, string sha256) => new KnownSources(bench.Folders).Find(sha256)
        ?? throw new BadInputException("verify", "part", $"{name} is not known on this machine", "Prepare the model again here first.");
}
