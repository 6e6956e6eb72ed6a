using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>What is to be said about unit and size of what was read.</summary>
internal static class UnitFindings
{
    internal static void Add(List<Finding> findings, Box3 boundsMm, LengthUnit? declared, MeshReadOptions options)
    {
        var size = boundsMm.Size;
        var shown = FormattableString.Invariant($"{size.X:G4} x {size.Y:G4} x {size.Z:G4} mm");
        if (declared is null && options.Unit is null)
            findings.Add(new(
                FindingCodes.UnitUnknown, Severity.Caution, $"The file states no unit; its numbers were taken as millimetres, which makes it {shown}.",
                "Give the unit the file is in, or confirm the size."));
        if (declared is { } stated && options.Unit is { } given && stated != given)
            findings.Add(new(
                FindingCodes.UnitDisagrees, Severity.Caution,
                $"The file states {stated.Plural()} and was read so, although {given.Plural()} were asked for; that makes it {shown}.",
                "Correct the unit in the file if it is wrong."));
        if (options.Anatomy is not { } anatomy)
            return;
        var unit = declared ?? options.Unit;
        if (SizePlausibility.Check(boundsMm, anatomy, unit ?? LengthUnit.Millimetre, unit is not null) is { } finding)
            findings.Add(finding);
    }
}
