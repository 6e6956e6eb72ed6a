using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Phantoms.Solids;

/// <summary>A ring about the z axis, at the origin.</summary>
/// <remarks>Measures: Pappus and Guldin, V = 2π² R r², A = 4π² R r.</remarks>
public sealed class Torus(double ringRadiusMm, double tubeRadiusMm) : Solid
{
    public override Box3 BoundsMm { get; } = new(
        new Vec3(-ringRadiusMm - tubeRadiusMm, -ringRadiusMm - tubeRadiusMm, -tubeRadiusMm),
        new Vec3(ringRadiusMm + tubeRadiusMm, ringRadiusMm + tubeRadiusMm, tubeRadiusMm));

    public override double DistanceMm(Vec3 pointMm)
    {
        var across = Math.Sqrt((pointMm.X * pointMm.X) + (pointMm.Y * pointMm.Y)) - ringRadiusMm;
        return Math.Sqrt((across * across) + (pointMm.Z * pointMm.Z)) - tubeRadiusMm;
    }

    public override SurfaceMeasures? ClosedForm(double offsetMm)
    {
        var t = tubeRadiusMm + offsetMm;
        return t > 0 && t < ringRadiusMm
            ? new SurfaceMeasures(2 * Math.PI * Math.PI * ringRadiusMm * t * t, 4 * Math.PI * Math.PI * ringRadiusMm * t, Euler: 0, Bodies: 1)
            : null;
    }
}
