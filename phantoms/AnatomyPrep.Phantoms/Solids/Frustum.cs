using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Phantoms.Solids;

/// <summary>A cone cut parallel to its base, about the z axis: base at z = 0, top at z = height.</summary>
/// <remarks>
/// Distance: to the outline in the half-plane (distance from axis, z): base, flank, top. Measures: outwards Steiner with
/// M = π h + π R (π/2 + α) + π r (π/2 − α), α = atan((R − r) / h): the flank and two rims with their exterior angles;
/// inwards the three planes move in, and the body is again a frustum.
/// </remarks>
public sealed class Frustum(double baseRadiusMm, double topRadiusMm, double heightMm) : Solid
{
    private readonly double _slant = Math.Sqrt((heightMm * heightMm) + ((baseRadiusMm - topRadiusMm) * (baseRadiusMm - topRadiusMm)));

    public override Box3 BoundsMm
    {
        get
        {
            var r = Math.Max(baseRadiusMm, topRadiusMm);
            return new Box3(new Vec3(-r, -r, 0), new Vec3(r, r, heightMm));
        }
    }

    public override double DistanceMm(Vec3 pointMm)
    {
        double rho = Math.Sqrt((pointMm.X * pointMm.X) + (pointMm.Y * pointMm.Y)), z = pointMm.Z;
        var fromFlank = (((rho - baseRadiusMm) * heightMm) + (z * (baseRadiusMm - topRadiusMm))) / _slant;
        var deepest = Math.Max(fromFlank, Math.Max(-z, z - heightMm));
        if (deepest <= 0)
            return deepest;
        var toBase = Squared(Math.Max(rho - baseRadiusMm, 0), z);
        var toTop = Squared(Math.Max(rho - topRadiusMm, 0), z - heightMm);
        // Along the flank from the base rim (0) to the top rim (1).
        var t = Math.Clamp((((rho - baseRadiusMm) * (topRadiusMm - baseRadiusMm)) + (z * heightMm)) / (_slant * _slant), 0, 1);
        var toFlank = Squared(rho - baseRadiusMm - (t * (topRadiusMm - baseRadiusMm)), z - (t * heightMm));
        return Math.Sqrt(Math.Min(toFlank, Math.Min(toBase, toTop)));
    }

    public override SurfaceMeasures? ClosedForm(double offsetMm)
    {
        if (offsetMm >= 0)
        {
            var alpha = Math.Atan2(baseRadiusMm - topRadiusMm, heightMm);
            var m = Math.PI * (heightMm + (baseRadiusMm * ((Math.PI / 2) + alpha)) + (topRadiusMm * ((Math.PI / 2) - alpha)));
            var whole = Measures(baseRadiusMm, topRadiusMm, heightMm);
            return Steiner.Parallel(whole.VolumeMm3, whole.AreaMm2, m, offsetMm);
        }

        double RadiusAt(double z) => baseRadiusMm - ((baseRadiusMm - topRadiusMm) * z / heightMm) + (offsetMm * _slant / heightMm);
        double low = RadiusAt(-offsetMm), high = RadiusAt(heightMm + offsetMm), h = heightMm + (2 * offsetMm);
        return low > 0 && high > 0 && h > 0 ? Measures(low, high, h) : null;
    }

    private static SurfaceMeasures Measures(double low, double high, double h)
    {
        var slant = Math.Sqrt((h * h) + ((low - high) * (low - high)));
        return new SurfaceMeasures(
            Math.PI * h / 3 * ((low * low) + (low * high) + (high * high)),
            (Math.PI * (low + high) * slant) + (Math.PI * ((low * low) + (high * high))),
            Euler: 2,
            Bodies: 1);
    }

    private static double Squared(double a, double b) => (a * a) + (b * b);
}
