using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Phantoms.Solids;

/// <summary>What two solids share; bounded outside near their common edge, exact inside.</summary>
public sealed class Intersection(Solid first, Solid second) : Solid
{
    public override Box3 BoundsMm { get; } = new(
        Vec3.Max(first.BoundsMm.Min, second.BoundsMm.Min),
        Vec3.Min(first.BoundsMm.Max, second.BoundsMm.Max));

    public override double DistanceMm(Vec3 pointMm) => Math.Max(first.DistanceMm(pointMm), second.DistanceMm(pointMm));

    public override double DistanceMm(Vec3 centerMm, double radiusMm, out Solid part)
    {
        double a = first.DistanceMm(centerMm, radiusMm, out var ofFirst), b = second.DistanceMm(centerMm, radiusMm, out var ofSecond);
        var margin = (2 * radiusMm) + Lipschitz.RoundingMm;
        part = a > b + margin ? ofFirst : b > a + margin ? ofSecond : new Intersection(ofFirst, ofSecond);
        return Math.Max(a, b);
    }
}
