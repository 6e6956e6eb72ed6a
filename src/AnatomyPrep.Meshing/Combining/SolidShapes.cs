using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Meshing.Shape;

namespace AnatomyPrep.Meshing.Combining;

/// <summary>Closed solids with flat ends, to be added to a model or taken from it.</summary>
internal static class SolidShapes
{
    // A chord of a round side lies within this of the arc.
    private const double ChordMm = 0.01;

    /// <summary>Sides of the polygon that stands for a circle; a multiple of four.</summary>
    public static int Sides(double radiusMm)
    {
        var halfAngle = Math.Acos(Math.Max(0.5, 1 - (ChordMm / radiusMm)));
        return Math.Clamp(4 * (int)Math.Ceiling(Math.PI / halfAngle / 4), 16, 128);
    }

    /// <summary>A cylinder or the frustum of a cone, its rims on the circles.</summary>
    /// <param name="originMm">Origin of the mesh.</param>
    public static Mesh Frustum(Vec3 originMm, Vec3 fromMm, Vec3 toMm, double fromRadiusMm, double toRadiusMm, int sides, Origin origin)
    {
        var axis = (toMm - fromMm).Normalized();
        var u = Placement.AnyPerpendicular(axis);
        var v = Vec3.Cross(axis, u);
        var builder = new MeshBuilder(originMm);
        foreach (var (center, radius) in (ReadOnlySpan<(Vec3, double)>)[(fromMm, fromRadiusMm), (toMm, toRadiusMm)])
            for (var i = 0; i < sides; i++)
            {
                var (sin, cos) = Math.SinCos(2 * Math.PI * i / sides);
                builder.AddVertex(center + (((u * cos) + (v * sin)) * radius));
            }

        var bottom = builder.AddVertex(fromMm);
        var top = builder.AddVertex(toMm);
        for (var i = 0; i < sides; i++)
        {
            var j = (i + 1) % sides;
            builder.AddTriangle(bottom, j, i, origin);
            builder.AddTriangle(top, sides + i, sides + j, origin);
            builder.AddTriangle(i, j, sides + j, origin);
            builder.AddTriangle(i, sides + j, sides + i, origin);
        }

        return builder.Build();
    }

    /// <summary>A box with its edges along u, v and w, which are at right angles, of unit length and right-handed.</summary>
    public static Mesh Box(Vec3 originMm, Vec3 cornerMm, Vec3 u, Vec3 v, Vec3 w, Vec3 sizeMm, Origin origin)
    {
        var builder = new MeshBuilder(originMm);
        for (var i = 0; i < 8; i++)
            builder.AddVertex(cornerMm + (u * ((i & 1) * sizeMm.X)) + (v * (((i >> 1) & 1) * sizeMm.Y)) + (w * ((i >> 2) * sizeMm.Z)));
        foreach (var (a, b, c, d) in (ReadOnlySpan<(int, int, int, int)>)[(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (1, 3, 7, 5), (3, 2, 6, 7), (2, 0, 4, 6)])
        {
            builder.AddTriangle(a, b, c, origin);
            builder.AddTriangle(a, c, d, origin);
        }

        return builder.Build();
    }
}
