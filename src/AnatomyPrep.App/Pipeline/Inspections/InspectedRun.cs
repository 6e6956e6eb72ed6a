using System.Security.Cryptography;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Imaging.Pictures;
using AnatomyPrep.Meshing.Formats;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Records.Inspections;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.App.Pipeline.Inspections;

/// <summary>A finished run whose print is looked at: its record holds, and its model is as it should come out of the machine.</summary>
/// <param name="File">The file of the run that was printed.</param>
/// <param name="Model">Without what was added for the shrink of the material.</param>
internal sealed record InspectedRun(string Folder, VerificationReport Verified, RunStatement Statement, string File, Mesh Model)
{
    // The largest difference for the purpose: 1 mm is the criterion published for models printed by extrusion, planning takes half
    // of it (common practice, no source).
    private const double EducationMm = 1;
    private const double PlanningMm = 0.5;

    /// <param name="structure">Name of the structure that was printed alone; null for the whole model.</param>
    /// <exception cref="CheckFailedException">The record or what was added to it does not hold.</exception>
    /// <exception cref="PlanException">There is no such structure.</exception>
    public static InspectedRun Open(string folder, string? structure, RunContext run)
    {
        var verified = RecordVerifier.Verify(folder, null, null, run);
        var statement = verified.Require();
        var file = FileOf(statement.Run, structure);
        var mesh = MeshFile.Read(Path.Combine(folder, file), new MeshReadOptions(LengthUnit.Millimetre), run).Mesh;
        return new(folder, verified, statement, file, Shrunk(mesh, statement.Run, run));
    }

    public double ToleranceMm(double? asked) => asked ?? (Statement.Run.Request.Purpose == Purpose.Planning ? PlanningMm : EducationMm);

    /// <summary>Letters of the patient would be false on a model that was laid for the machine.</summary>
    public PictureAxes Axes => Statement.Run.Steps.Any(s => s.Name == "lay") ? PictureAxes.Machine : PictureAxes.Patient;

    public IReadOnlyList<CaliperDistance> Distances(int perAxis, RunContext run) => CaliperPlaces.Choose(Model, perAxis, run);

    /// <summary>Says which distances, on which model: readings of any other sheet are not those of this one.</summary>
    public string SheetCode(int perAxis, IReadOnlyList<CaliperDistance> distances)
    {
        var lines = distances.Select(d => FormattableString.Invariant($"{d.Name} {d.LengthMm:F3} {d.FromMm.X:F2} {d.FromMm.Y:F2} {d.FromMm.Z:F2}"));
        var sha256 = Statement.Subjects.First(s => s.Name == File).Sha256;
        var text = $"{Statement.Run.RunId}\n{sha256}\n{string.Join('\n', lines)}\n";
        return $"{perAxis}-{Convert.ToHexStringLower(SHA256.HashData(System.Text.Encoding.UTF8.GetBytes(text)))[..12]}";
    }

    public InspectionFacts Facts(DateTimeOffset at, double toleranceMm, string? inspector) => new()
    {
        Number = 0,
        Record = new("", ""),
        At = at,
        InspectorCode = inspector,
        Software = SoftwareIdentity.Facts.NameAndRevision(),
        ModelFile = File,
        Purpose = Statement.Run.Request.Purpose,
        ToleranceMm = toleranceMm,
        Passed = false,
        Findings = [],
    };

    private static string FileOf(RunFacts run, string? structure)
    {
        if (structure is null)
            return ModelFiles.Stl;
        var names = (run.Structures ?? []).Select(s => s.Name).ToArray();
        return run.Structures?.FirstOrDefault(s => s.Name == structure)?.Files.First(f => f.EndsWith(".stl", StringComparison.Ordinal))
            ?? throw new PlanException("command", null, "--structure", structure, names.Length == 0 ? "none: the run made one model" : string.Join(", ", names));
    }

    private static Mesh Shrunk(Mesh mesh, RunFacts facts, RunContext run)
    {
        var factor = facts.Steps.Where(s => s.Name == "compensate-shrink").Aggregate(new Vec3(1, 1, 1), (f, s) =>
            new(f.X * Measure(s, "factorX"), f.Y * Measure(s, "factorY"), f.Z * Measure(s, "factorZ")));
        return KnownPlacement.Undo(mesh, new Affine3(new(factor.X, 0, 0), new(0, factor.Y, 0), new(0, 0, factor.Z), Vec3.Zero), run);
    }

    private static double Measure(StepFacts step, string name) => step.Effect.Measures?.GetValueOrDefault(name, 1) ?? 1;
}
