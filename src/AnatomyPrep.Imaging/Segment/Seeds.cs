using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Imaging.Segment;

/// <summary>Points that a person put on a structure, as samples.</summary>
internal static class Seeds
{
    /// <summary>The sample nearest to each point, LPS.</summary>
    /// <exception cref="BadInputException">No point, or one outside the images.</exception>
    public static (int I, int J, int K)[] Nearest(Volume volume, IReadOnlyList<Vec3> seedsMm, string step, string parameter)
    {
        if (seedsMm.Count == 0)
            throw new BadInputException(step, parameter, "none", "Give at least one point on the structure.");
        return [.. seedsMm.Select(seed => Nearest(volume, seed, step, parameter))];
    }

    /// <summary>Coordinates as in plans.</summary>
    public static string Text(Vec3 p) => FormattableString.Invariant($"[{p.X:0.##}, {p.Y:0.##}, {p.Z:0.##}]");

    private static (int I, int J, int K) Nearest(Volume volume, Vec3 seedMm, string step, string parameter)
    {
        var at = volume.Map.Invert(seedMm);
        var (i, j, k) = ((int)Math.Round(at.X), (int)Math.Round(at.Y), (int)Math.Round(at.Z));
        return at.IsFinite && (uint)i < (uint)volume.Columns && (uint)j < (uint)volume.Rows && (uint)k < (uint)volume.Slices
            ? (i, j, k)
            : throw new BadInputException(step, parameter, Text(seedMm), "It lies outside the images; read the coordinates (LPS, mm) off a section picture.");
    }
}
