using AnatomyPrep.App.Cli;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Plans;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Formats;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.App.Pipeline;

/// <summary>Makes the surface of a recorded source again, before anything was repaired or shaped, and lays a model beside it.</summary>
internal sealed class SourceCheck(Workbench bench)
{
    /// <param name="modelPath">Any mesh said to be the record's model; origins are read from PLY, else all counts as measured.</param>
    /// <exception cref="BadInputException">The plan places the model elsewhere, or has no surface; a file cannot be used.</exception>
    public SourceAgreement Run(RunStatement statement, string sourcePath, string modelPath, double toleranceMm, RunContext run)
    {
        var steps = bench.Plans.Parse(statement.Run.Plan.Text, statement.Run.Plan.Name).Plan.Steps;
        if (steps.FirstOrDefault(s => bench.Catalog.TryFind(s.Name, out var spec) && spec.MovesModel) is { } moving)
            throw new BadInputException("verify", "plan", $"its step {moving.Name} places the model elsewhere than the source", "Compare with the recorded model instead: compare MODEL DIR/model.stl.");
        var model = MeshFile.Read(modelPath, CheckCommand.ReadOptions, run).Mesh;
        using var source = new SourceLoader(bench.Folders).LoadAgain(sourcePath, statement.Run.Source, PartPath, run);
        if (source.Facts.TreeSha256 != statement.Run.Source.TreeSha256)
            throw new CheckFailedException("source", statement.Run.Source.TreeSha256, source.Facts.TreeSha256);
        return ModelAgainstSource.Measure(model, Surface(source.State, steps, run).Rebased(Vec3.Zero), toleranceMm, run);
    }

    private Mesh Surface(PipelineState state, IReadOnlyList<PlanStep> steps, RunContext run)
    {
        foreach (var step in steps)
        {
            if (state.Mesh is not null)
                break;
            run.ThrowIfCancelled();
            bench.Catalog.Function(step.Name)(state, step, run);
        }

        return state.Surface("verify");
    }

    private string PartPath(string name, string sha256) => new KnownSources(bench.Folders).Find(sha256)
        ?? throw new BadInputException("verify", "part", $"{name} is not known on this machine", "Prepare the model again here first.");
}
