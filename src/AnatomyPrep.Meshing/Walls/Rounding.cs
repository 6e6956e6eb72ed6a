using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Walls;

/// <summary>Rounds the sharp valleys of an offset wall: from a wall that is thicker by a radius everything is taken off again that a ball of that radius can reach.</summary>
/// <remarks>
/// Morphological closing (dilation by thickness and radius, erosion by the radius; J. Serra, "Image Analysis and Mathematical
/// Morphology" (1982), from memory). A closing only adds, so the wall is nowhere thinner than without.
/// </remarks>
/// <param name="thicker">Triangles of the wall at distance plus radius.</param>
internal sealed class Rounding(Mesh thicker, double radiusMm, RunContext run)
{
    private readonly TriangleTree _tree = TriangleTree.Build(thicker, run);

    public double RadiusMm => radiusMm;

    /// <summary>Coordinate of a point after rounding; never more than before.</summary>
    /// <param name="depthMm">Distance from the surface towards this wall.</param>
    /// <param name="levelMm">The wall's distance, positive.</param>
    public double CoordinateMm(double depthMm, double levelMm, in Vec3 p, ref SurfacePoint near)
    {
        // Below it the wall is left as it is, beyond the thicker wall there is none to be closed.
        if (depthMm < levelMm - radiusMm || depthMm >= levelMm + radiusMm)
            return depthMm;
        near = _tree.NearestLocal(p, near);

        // Far below the thicker wall the point is inside, and must not seem to lie on the surface's other side.
        return Math.Min(depthMm, Math.Max(levelMm / 2, levelMm + radiusMm - near.DistanceMm));
    }

    /// <summary>The point at the radius from the thicker wall, along the line from its nearest point.</summary>
    public Vec3 Onto(in Vec3 p, ref SurfacePoint near)
    {
        near = _tree.NearestLocal(p, near);
        return near.PositionMm + ((p - near.PositionMm) * (radiusMm / near.DistanceMm));
    }
}
