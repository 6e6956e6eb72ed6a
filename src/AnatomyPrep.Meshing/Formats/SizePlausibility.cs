using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>Whether the size of a model fits the anatomy it shows: the gate against wrong units.</summary>
/// <remarks>
/// The longest side of the bounds is compared with a range wide enough for a newborn's and a very large adult's part, cut
/// or whole, so that only a wrong unit or a scaled model falls outside. Unit factors are 10 and more apart (centimetre,
/// inch: 2.54), so the suggestion names every unit that would fit. Sources: docs/formats/meshes.md.
/// </remarks>
public static class SizePlausibility
{
    // Longest side in mm. Head: a living adult's length is 165 to 205 mm (5th to 95th percentile); the rest is common practice.
    private static readonly SortedDictionary<string, (double LowMm, double HighMm)> s_longestSideMm = new(StringComparer.OrdinalIgnoreCase)
    {
        ["head"] = (90, 450),
        ["face"] = (60, 320),
        ["skull"] = (90, 280),
        ["mandible"] = (35, 180),
        ["maxilla"] = (25, 130),
        ["orbit"] = (20, 120),
        ["ear"] = (20, 110),
        ["tooth"] = (4, 45),
        ["spine"] = (60, 900),
        ["vertebra"] = (12, 180),
        ["chest"] = (80, 600),
        ["heart"] = (30, 250),
        ["pelvis"] = (60, 420),
        ["shoulder"] = (40, 350),
        ["elbow"] = (25, 300),
        ["hand"] = (40, 300),
        ["hip"] = (40, 400),
        ["femur"] = (60, 600),
        ["knee"] = (40, 350),
        ["tibia"] = (50, 520),
        ["foot"] = (50, 380),
        ["humerus"] = (50, 450),
        ["radius"] = (40, 330),
        ["ulna"] = (40, 350),
        ["body"] = (250, 2300),
    };

    /// <summary>The words whose size is known.</summary>
    public static IReadOnlyCollection<string> Anatomies => s_longestSideMm.Keys;

    /// <summary>
    /// Null when the size fits. Otherwise a finding that names the units that would fit: a stop when the unit was only
    /// assumed, because every length of the plan would then be meaningless, and a caution when somebody stated it.
    /// </summary>
    /// <param name="anatomy">One of <see cref="Anatomies"/>, also within a longer text ("left femur").</param>
    /// <param name="takenAs">The unit the numbers were taken in.</param>
    /// <param name="unitIsStated">By the file or by the person who gave it.</param>
    public static Finding? Check(Box3 boundsMm, string anatomy, LengthUnit takenAs, bool unitIsStated)
    {
        if (Range(anatomy) is not var (lowMm, highMm))
            return new(
                FindingCodes.SizeNotJudged, Severity.Note, "The size was not judged: nothing is known about that anatomy.",
                "Measure the model, or name one of: " + string.Join(", ", Anatomies) + ".");
        var size = boundsMm.Size;
        var longestMm = Math.Max(size.X, Math.Max(size.Y, size.Z));
        if (longestMm >= lowMm && longestMm <= highMm)
            return null;
        var fitting = LengthUnits.All
            .Where(unit => unit != takenAs && Fits(longestMm / takenAs.MmPer() * unit.MmPer(), lowMm, highMm))
            .Select(unit => unit.Plural())
            .ToList();
        return new(
            FindingCodes.SizeImplausible,
            unitIsStated ? Severity.Caution : Severity.Stop,
            FormattableString.Invariant($"The longest side is {longestMm:G4} mm; {lowMm} to {highMm} mm would be expected.")
                + (fitting.Count > 0 ? $" It looks like {string.Join(" or ", fitting)}." : ""),
            fitting.Count > 0 ? "Give the unit the file is in." : "Look whether the model is scaled, or shows something else.");
    }

    private static bool Fits(double longestMm, double lowMm, double highMm) => longestMm >= lowMm && longestMm <= highMm;

    private static (double LowMm, double HighMm)? Range(string anatomy)
    {
        foreach (var word in anatomy.Split([' ', '-', '_', ',', '.', '/'], StringSplitOptions.RemoveEmptyEntries))
            if (s_longestSideMm.TryGetValue(word, out var range))
                return range;
        return null;
    }
}
