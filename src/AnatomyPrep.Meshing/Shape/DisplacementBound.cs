using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>Holds vertices within a stated distance of where they were, the rounding to float32 included.</summary>
internal readonly struct DisplacementBound
{
    private readonly float[] _start;
    private readonly double _limit;

    private DisplacementBound(float[] start, double limit)
    {
        _start = start;
        _limit = limit;
    }

    internal bool IsSet => _limit < double.PositiveInfinity;

    /// <exception cref="PlanException">The bound is negative or not finite.</exception>
    internal static DisplacementBound Of(Mesh mesh, double? maxDisplacementMm, string step)
    {
        if (maxDisplacementMm is not { } bound)
            return new(mesh.PositionArray, double.PositiveInfinity);
        if (!(bound >= 0 && double.IsFinite(bound)))
            throw new PlanException(step, null, "maxDisplacementMm", Placement.Text(bound), "0 or more");
        return new(mesh.PositionArray, Math.Max(0, bound - RoundingMm(mesh)));
    }

    /// <summary>Brings a vertex that went too far back along its way.</summary>
    internal void Hold(int v, ref float x, ref float y, ref float z)
    {
        double x0 = _start[3 * v], y0 = _start[(3 * v) + 1], z0 = _start[(3 * v) + 2];
        double dx = x - x0, dy = y - y0, dz = z - z0;
        var squared = (dx * dx) + (dy * dy) + (dz * dz);
        if (squared <= _limit * _limit)
            return;
        var share = _limit / Math.Sqrt(squared);
        (x, y, z) = ((float)(x0 + (dx * share)), (float)(y0 + (dy * share)), (float)(z0 + (dz * share)));
    }

    // Rounding moves each coordinate by at most half a unit in the last place of the largest one, the point by √3 of that.
    private static double RoundingMm(Mesh mesh)
    {
        float largest = 0;
        foreach (var x in mesh.Positions)
            largest = Math.Max(largest, Math.Abs(x));
        return MathF.BitIncrement(largest) - largest;
    }
}
