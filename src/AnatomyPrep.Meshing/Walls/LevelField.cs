using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Walls;

/// <summary>What lies inside a closed surface grown by a distance, or shrunk where the distance is negative.</summary>
internal sealed class LevelField(SheetSide solid, double levelMm, Rounding? rounding = null) : BandField(solid, rounding)
{
    public Mesh Mesh => Surface.Tree.Mesh;

    public override double LevelMm(Bound bound) => levelMm;

    public override double RimMm(in Vec3 p) => double.PositiveInfinity;

    public override FieldSample At(in Vec3 p, double rimMm, ref Neighbours near)
    {
        var s = Rounded(Surface.At(p, ref near.Surface, out _), levelMm, p, ref near);
        return new(s, s > levelMm ? Bound.High : Bound.Inside, Math.Abs(s - levelMm));
    }
}
