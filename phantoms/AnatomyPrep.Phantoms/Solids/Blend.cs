using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Phantoms.Solids;

/// <summary>The union of two solids with the crease between them filled over a width; bounded near the crease.</summary>
/// <remarks>
/// Method: quadratic smooth minimum, min(a, b) − h² k / 4 with h = max(k − |a − b|, 0) / k. Its gradient is a convex
/// combination of the two, so the result stays 1-Lipschitz; it equals the plain union where the two distances differ by k.
/// </remarks>
public sealed class Blend(Solid first, Solid second, double widthMm) : Solid
{
    /// <summary>The crease is filled by at most a quarter of the width.</summary>
    public override Box3 BoundsMm { get; } = first.BoundsMm.Including(second.BoundsMm).Grown(widthMm / 4);

    public override double DistanceMm(Vec3 pointMm) => SmoothMin(first.DistanceMm(pointMm), second.DistanceMm(pointMm), widthMm);

    public override double DistanceMm(Vec3 centerMm, double radiusMm, out Solid part)
    {
        double a = first.DistanceMm(centerMm, radiusMm, out var ofFirst), b = second.DistanceMm(centerMm, radiusMm, out var ofSecond);
        var margin = (2 * radiusMm) + widthMm + Lipschitz.RoundingMm;
        part = b > a + margin ? ofFirst : a > b + margin ? ofSecond : new Blend(ofFirst, ofSecond, widthMm);
        return SmoothMin(a, b, widthMm);
    }

    internal static double SmoothMin(double a, double b, double width)
    {
        var h = width - Math.Abs(a - b);
        return h > 0 ? Math.Min(a, b) - (h * h / (4 * width)) : Math.Min(a, b);
    }
}
