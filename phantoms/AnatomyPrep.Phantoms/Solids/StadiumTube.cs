using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Phantoms.Solids;

/// <summary>An open pipe about the z axis, at the origin, with rounded rims: a stadium turned about the axis.</summary>
/// <remarks>Measures: Pappus and Guldin with the stadium's area 2tL + πt² and perimeter 2L + 2πt. One handle.</remarks>
public sealed class StadiumTube(double ringRadiusMm, double wallHalfThicknessMm, double straightMm) : Solid
{
    public override Box3 BoundsMm { get; } = new(
        new Vec3(-ringRadiusMm - wallHalfThicknessMm, -ringRadiusMm - wallHalfThicknessMm, (-straightMm / 2) - wallHalfThicknessMm),
        new Vec3(ringRadiusMm + wallHalfThicknessMm, ringRadiusMm + wallHalfThicknessMm, (straightMm / 2) + wallHalfThicknessMm));

    public override double DistanceMm(Vec3 pointMm)
    {
        var across = Math.Sqrt((pointMm.X * pointMm.X) + (pointMm.Y * pointMm.Y)) - ringRadiusMm;
        var along = Math.Max(Math.Abs(pointMm.Z) - (straightMm / 2), 0);
        return Math.Sqrt((across * across) + (along * along)) - wallHalfThicknessMm;
    }

    public override SurfaceMeasures? ClosedForm(double offsetMm)
    {
        var t = wallHalfThicknessMm + offsetMm;
        if (t <= 0 || t >= ringRadiusMm)
            return null;
        var round = 2 * Math.PI * ringRadiusMm;
        return new SurfaceMeasures(
            round * ((2 * t * straightMm) + (Math.PI * t * t)),
            round * ((2 * straightMm) + (2 * Math.PI * t)),
            Euler: 0,
            Bodies: 1);
    }
}
