using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Tests.Meshing.Walls;

/// <summary>Open sheets of known shape, and measures of what is made of them that share no code with it.</summary>
internal static class Sheets
{
    /// <summary>Part of a sphere about 0 from the pole down to an angle, facing outward; the border is a regular polygon.</summary>
    public static Mesh Cap(double radiusMm, double angleDeg, int around, int down)
    {
        var points = new List<Vec3> { new(0, 0, radiusMm) };
        var triangles = new List<int>();
        for (var ring = 1; ring <= down; ring++)
        {
            var (sin, cos) = Math.SinCos(angleDeg * Math.PI / 180 * ring / down);
            for (var i = 0; i < around; i++)
            {
                var (s, c) = Math.SinCos(2 * Math.PI * i / around);
                points.Add(new(radiusMm * sin * c, radiusMm * sin * s, radiusMm * cos));
                int next = (i + 1) % around, here = 1 + ((ring - 1) * around), above = here - around;
                if (ring == 1)
                    triangles.AddRange([0, here + i, here + next]);
                else
                    triangles.AddRange([above + i, here + i, here + next, above + i, here + next, above + next]);
            }
        }

        return TestMeshes.Of([.. points], [.. triangles]);
    }

    /// <summary>Part of a cylinder about the y axis, 0 … lengthMm, facing outward.</summary>
    public static Mesh CylinderPatch(double radiusMm, double angleDeg, double lengthMm, int around, int along)
    {
        var flat = TestMeshes.GridSheet(around, along, 1, lengthMm);
        var points = new Vec3[flat.VertexCount];
        for (var v = 0; v < points.Length; v++)
        {
            var (sin, cos) = Math.SinCos((flat.Local(v).X - 0.5) * angleDeg * Math.PI / 180);
            points[v] = new(radiusMm * sin, flat.Local(v).Y, radiusMm * cos);
        }

        return TestMeshes.Of(points, flat.TriangleArray);
    }

    /// <summary>Solid angle seen from 0, by A. van Oosterom and J. Strackee, IEEE Trans. Biomed. Eng. 30 (1983), from memory.</summary>
    public static double SolidAngleRad(Mesh mesh)
    {
        double sum = 0;
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            var (i, j, k) = mesh.Triangle(t);
            Vec3 a = mesh.Vertex(i), b = mesh.Vertex(j), c = mesh.Vertex(k);
            sum += 2 * Math.Atan2(
                Vec3.Dot(a, Vec3.Cross(b, c)),
                (a.Length * b.Length * c.Length) + (Vec3.Dot(a, b) * c.Length) + (Vec3.Dot(b, c) * a.Length) + (Vec3.Dot(c, a) * b.Length));
        }

        return sum;
    }

    public static double LongestEdgeMm(Mesh mesh) => Enumerable.Range(0, mesh.Triangles.Length)
        .Max(h => Vec3.Distance(mesh.Local(mesh.Triangles[h]), mesh.Local(mesh.Triangles[EdgeTable.Next(h)])));
}
