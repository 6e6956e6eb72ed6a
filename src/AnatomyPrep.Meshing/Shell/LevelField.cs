using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Shell;

/// <summary>What lies inside a closed surface grown by a distance, or shrunk where the distance is negative.</summary>
internal sealed class LevelField(SheetSide solid, double levelMm) : BandField
{
    public override double LevelMm(Bound bound) => levelMm;

    public override double RimMm(in Vec3 p) => double.PositiveInfinity;

    public override FieldSample At(in Vec3 p, double rimMm, ref SurfacePoint near)
    {
        var s = solid.At(p, ref near, out _);
        return new(s, s > levelMm ? Bound.High : Bound.Inside, Math.Abs(s - levelMm));
    }

    public override bool TryProject(Bound bound, in Vec3 from, double withinMm, ref SurfacePoint near, out Vec3 onto) =>
        SheetField.TryProject(solid, levelMm, from, withinMm, ref near, out onto);
}
