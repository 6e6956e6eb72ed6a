using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Formats;
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
        StlFormat.Write(mesh, Path.Combine(folder, Stl), label, run);
        PlyFormat.Write(mesh, Path.Combine(folder, Ply), label, run);
        ThreeMfFormat.Write(mesh, Path.Combine(folder, ThreeMf), Describe(facts), run);
        GltfFormat.Write([new(mesh, facts.Request.Anatomy, null, facts.Measurements.Mesh.Solid)], Path.Combine(folder, Glb), label, run);
    }

    /// <summary>Each structure in files of its own, and all in one of each kind; in 3MF as one object each.</summary>
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
        ThreeMfFormat.Write(objects, Path.Combine(folder, ThreeMf), Describe(facts), run);
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
