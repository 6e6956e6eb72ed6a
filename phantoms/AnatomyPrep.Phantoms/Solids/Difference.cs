using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Phantoms.Solids;

/// <summary>One solid less another, with the rim rounded over a width; bounded near the rim, exact elsewhere at width 0.</summary>
/// <remarks>The smooth maximum of <see cref="Blend"/>'s formula, applied to the first and the negative of the second.</remarks>
public sealed class Difference(Solid from, Solid taken, double rimMm = 0) : Solid
{
    public override Box3 BoundsMm => from.BoundsMm;

    public override double DistanceMm(Vec3 pointMm) => -Blend.SmoothMin(-from.DistanceMm(pointMm), taken.DistanceMm(pointMm), rimMm);

    public override double DistanceMm(Vec3 centerMm, double radiusMm, out Solid part)
    {
        double a = from.DistanceMm(centerMm, radiusMm, out var ofFrom), b = taken.DistanceMm(centerMm, radiusMm, out var ofTaken);
        // Where the taken solid is this much too far away, its part of the maximum never counts.
        part = a > -b + (2 * radiusMm) + rimMm + Lipschitz.RoundingMm ? ofFrom : new Difference(ofFrom, ofTaken, rimMm);
        return -Blend.SmoothMin(-a, b, rimMm);
    }
}
