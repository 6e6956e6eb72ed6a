using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Meshing.Spatial;

/// <summary>A point of a surface, found from another point.</summary>
/// <param name="Triangle">Index in the mesh; of several equally near the lowest; −1 when there is none within the asked distance.</param>
/// <param name="Feature">Which part of that triangle the point lies on.</param>
/// <param name="PositionMm">The point.</param>
/// <param name="DistanceMm">How far it is; not negative.</param>
public readonly record struct SurfacePoint(int Triangle, TriangleFeature Feature, Vec3 PositionMm, double DistanceMm)
{
    public static readonly SurfacePoint None = new(-1, TriangleFeature.Face, Vec3.Zero, double.PositiveInfinity);

    public bool Found => Triangle >= 0;
}
