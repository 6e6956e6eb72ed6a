using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Imaging.Pictures;
using AnatomyPrep.Meshing.Formats;
using AnatomyPrep.Meshing.Prepare;
using AnatomyPrep.Records.Reports;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.App.Pipeline;

/// <summary>The files a model is handed over in.</summary>
internal static class ModelFiles
{
    public const string Stl = "model.stl";
    public const string ThreeMf = "model.3mf";
    public const string Ply = "model.ply";
    public const string Glb = "model.glb";
    public const string Sensitivity = "sensitivity.ply";
    public const string StructureFolder = "structures";

    public static void WriteModel(Mesh mesh, RunFacts facts, string folder, RunContext run)
    {
        var label = Label(facts);
        Action[] files =
        [
            () => ThreeMfFormat.Write(Objects(mesh, facts, run), Path.Combine(folder, ThreeMf), Describe(facts) with { ThumbnailPng = PreviewPicture.Thumbnail(mesh, null, run) }, run),
            () => StlFormat.Write(mesh, Path.Combine(folder, Stl), label, run),
            () => PlyFormat.Write(mesh, Path.Combine(folder, Ply), label, run),
            () => GltfFormat.Write([new(mesh, facts.Request.Anatomy, null, facts.Measurements.Mesh.Solid)], Path.Combine(folder, Glb), label, run),
        ];
        // Each is written by one thread for most of its time.
        Partition.For(run, files.Length, f => files[f]());
    }

    // Parts that were cut apart or laid out can be picked one by one in a slicing program; pieces of anatomy stay one object.
    private static IReadOnlyList<ThreeMfSolid> Objects(Mesh mesh, RunFacts facts, RunContext run)
    {
        var solid = facts.Measurements.Mesh.Solid;
        if (solid && facts.Steps.Any(s => s.Name is "fit-plate" or "cut-into-parts"))
        {
            var parts = FitPlate.Split(mesh, run);
            if (parts.Count > 1)
                return [.. parts.Select((p, i) => new ThreeMfSolid(p, FormattableString.Invariant($"{facts.Request.Anatomy}, part {i + 1} of {parts.Count}"), null))];
        }

        return [new(mesh, Describe(facts).Title, null, solid)];
    }

    /// <summary>Each structure in files of its own, and all in one of each kind; in 3MF as one object each, components of one assembly.</summary>
    public static void WriteStructures(IReadOnlyList<FinishedSolid> solids, RunFacts facts, string folder, RunContext run)
    {
        var label = Label(facts);
        Directory.CreateDirectory(Path.Combine(folder, StructureFolder));
        foreach (var solid in solids)
        {
            StlFormat.Write(solid.Mesh, Path.Combine(folder, solid.StlFile), label, run);
            PlyFormat.Write(solid.Mesh, Path.Combine(folder, solid.PlyFile), label, run);
        }

        var together = MeshJoin.Join([.. solids.Select(s => s.Mesh)]);
        StlFormat.Write(together, Path.Combine(folder, Stl), label, run);
        PlyFormat.Write(together, Path.Combine(folder, Ply), label, run);
        ThreeMfSolid[] objects = [.. solids.Select(s => new ThreeMfSolid(s.Mesh, s.Name, s.Structure!.Colour, s.Measurements.Mesh.Solid))];
        var colours = TriangleColours.ByPart([.. solids.Select(s => (s.Name, s.Structure!.Colour, s.Mesh.TriangleCount))]);
        ThreeMfFormat.Write(objects, Path.Combine(folder, ThreeMf), Describe(facts) with { IsAssembly = true, ThumbnailPng = PreviewPicture.Thumbnail(together, colours, run) }, run);
        GltfFormat.Write(objects, Path.Combine(folder, Glb), label, run);
    }

    /// <summary>The surface as it was measured, in patient coordinates, with how far every vertex would move.</summary>
    public static void WriteShifts(SurfaceShifts shifts, string file, string folder, RunContext run) =>
        VertexValuePly.Write(shifts.Mesh, "shift_mm", shifts.LargestMm, Path.Combine(folder, file), FormattableString.Invariant($"shift_mm: how far the surface moves for {shifts.StepHu} HU more or less; nan where nothing was measured"), run);

    /// <summary>Report and label, after every other file: their code holds the hash of those.</summary>
    public static void WritePapers(RunFacts facts, IEnumerable<ModelPicture> pictures, string folder, RunContext run)
    {
        var code = RunCode.Of(folder, facts, run);
        var content = new ReportContent(facts, code, [.. pictures.Select(p => new ReportPicture(p.Caption, File.ReadAllBytes(Path.Combine(folder, p.File)), p.IsLarge))]);
        using (var report = File.Create(Path.Combine(folder, RecordFiles.Report)))
            RunReport.Write(report, content);
        using var label = File.Create(Path.Combine(folder, RecordFiles.Label));
        LabelSheet.Write(label, facts, code);
    }

    // Source and plan, not the run: another version of the program that makes the same geometry makes the same bytes.
    private static string Label(RunFacts facts) => $"AnatomyPrep mm, source {facts.Source.TreeSha256[..12]}, plan {facts.Plan.Sha256[..12]}, education/planning";

    private static ThreeMfDescription Describe(RunFacts facts) => new(
        Title: $"{facts.Request.Anatomy} ({facts.Plan.Name})",
        Designer: "",
        Description: SafetyNotice.Text,
        Application: facts.Software.Name,
        Own:
        [
            KeyValuePair.Create("SourceSha256", facts.Source.TreeSha256),
            KeyValuePair.Create("PlanSha256", facts.Plan.Sha256),
            KeyValuePair.Create("Purpose", facts.Request.Purpose.ToString().ToLowerInvariant()),
            KeyValuePair.Create("Anatomy", facts.Request.Anatomy),
            KeyValuePair.Create("Side", facts.Request.Side?.ToString().ToLowerInvariant() ?? "not stated"),
            KeyValuePair.Create("Coordinates", "LPS, millimetres"),
        ],
        IsSolid: facts.Measurements.Mesh.Solid);
}
