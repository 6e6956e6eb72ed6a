using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Tests.Imaging.Pictures;

/// <summary>Meshes with closed-form truth, for pictures.</summary>
internal static class PictureSamples
{
    /// <summary>Sphere of rings and twice as many sectors, every vertex on the sphere, faces outward.</summary>
    internal static Mesh Sphere(Vec3 center, double radius, int rings, Func<Vec3, Origin>? origin = null, bool inward = false)
    {
        var builder = new MeshBuilder(center);
        var sectors = 2 * rings;
        for (var ring = 1; ring < rings; ring++)
        {
            for (var sector = 0; sector < sectors; sector++)
            {
                double polar = Math.PI * ring / rings, around = Math.Tau * sector / sectors;
                builder.AddVertex(center + (new Vec3(Math.Sin(polar) * Math.Cos(around), Math.Sin(polar) * Math.Sin(around), Math.Cos(polar)) * radius));
            }
        }

        var top = builder.AddVertex(center + new Vec3(0, 0, radius));
        var bottom = builder.AddVertex(center - new Vec3(0, 0, radius));
        var made = new List<(int A, int B, int C)>();
        for (var sector = 0; sector < sectors; sector++)
        {
            var next = (sector + 1) % sectors;
            made.Add((top, sector, next));
            var last = (rings - 2) * sectors;
            made.Add((bottom, last + next, last + sector));
            for (var ring = 0; ring < rings - 2; ring++)
            {
                int a = (ring * sectors) + sector, b = (ring * sectors) + next;
                made.Add((a, a + sectors, b));
                made.Add((b, a + sectors, b + sectors));
            }
        }

        foreach (var (a, b, c) in made)
            if (inward)
                builder.AddTriangle(a, c, b);
            else
                builder.AddTriangle(a, b, c);
        return Marked(builder.Build(), origin);
    }

    /// <summary>Largest circumradius of the sphere's triangles; every point of one lies within R - sqrt(R² - it²) of the sphere.</summary>
    internal static double Circumradius(double radius, int rings)
    {
        // A triangle's sides are at most one ring and one sector: the circle around a right angle with both.
        var side = 2 * radius * Math.Sin(Math.PI / (2 * rings));
        return side * Math.Sqrt(2) / 2;
    }

    internal static Mesh Box(Vec3 min, Vec3 max, Origin origin = Origin.Measured)
    {
        var builder = new MeshBuilder((min + max) / 2);
        for (var corner = 0; corner < 8; corner++)
            builder.AddVertex(new Vec3((corner & 1) == 0 ? min.X : max.X, (corner & 2) == 0 ? min.Y : max.Y, (corner & 4) == 0 ? min.Z : max.Z));
        int[] quads = [0, 2, 3, 1, 4, 5, 7, 6, 0, 1, 5, 4, 2, 6, 7, 3, 0, 4, 6, 2, 1, 3, 7, 5];
        for (var q = 0; q < quads.Length; q += 4)
        {
            builder.AddTriangle(quads[q], quads[q + 1], quads[q + 2], origin);
            builder.AddTriangle(quads[q], quads[q + 2], quads[q + 3], origin);
        }

        return builder.Build();
    }

    internal static Mesh Joined(params Mesh[] meshes)
    {
        var builder = new MeshBuilder(meshes[0].OriginMm);
        foreach (var mesh in meshes)
        {
            var first = builder.VertexCount;
            for (var v = 0; v < mesh.VertexCount; v++)
                builder.AddVertex(mesh.Vertex(v));
            for (var t = 0; t < mesh.TriangleCount; t++)
            {
                var (a, b, c) = mesh.Triangle(t);
                builder.AddTriangle(first + a, first + b, first + c, mesh.Origins[t]);
            }
        }

        return builder.Build();
    }

    private static Mesh Marked(Mesh mesh, Func<Vec3, Origin>? origin)
    {
        if (origin is null)
            return mesh;
        var origins = new Origin[mesh.TriangleCount];
        for (var t = 0; t < origins.Length; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            origins[t] = origin((mesh.Vertex(a) + mesh.Vertex(b) + mesh.Vertex(c)) / 3);
        }

        return new Mesh(mesh.OriginMm, mesh.PositionArray, mesh.TriangleArray, origins);
    }
}
