using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>How far apart two surfaces lie of which one was made from the other, triangle by triangle anew.</summary>
/// <param name="MeanMm">Over the vertices in use before: how far each lies from the surface after.</param>
/// <param name="MaxMm">The largest found, of those and of the vertices, edge middles and centres after to the surface before.</param>
internal readonly record struct Deviation(double MeanMm, double MaxMm)
{
    internal static Deviation Measure(TriangleTree before, TriangleTree after, RunContext run)
    {
        var (sum, forward, count) = Distances(VerticesInUse(before.Mesh), after, run);
        var (_, back, _) = Distances([.. VerticesInUse(after.Mesh), .. Middles(after.Mesh)], before, run);
        return new(count == 0 ? 0 : sum / count, Math.Max(forward, back));
    }

    private static (double SumMm, double MaxMm, int Count) Distances(Vec3[] points, TriangleTree to, RunContext run)
    {
        var distances = new double[points.Length];
        to.Visit(points, run, double.PositiveInfinity, (i, nearest) => distances[i] = nearest.Found ? nearest.DistanceMm : 0);
        double sum = 0, max = 0;
        foreach (var d in distances)
            (sum, max) = (sum + d, Math.Max(max, d));
        return (sum, max, points.Length);
    }

    private static Vec3[] VerticesInUse(Mesh mesh)
    {
        var used = new bool[mesh.VertexCount];
        foreach (var v in mesh.Triangles)
            used[v] = true;
        var points = new List<Vec3>(mesh.VertexCount);
        for (var v = 0; v < used.Length; v++)
            if (used[v])
                points.Add(mesh.Vertex(v));
        return [.. points];
    }

    private static List<Vec3> Middles(Mesh mesh)
    {
        var points = new List<Vec3>(mesh.TriangleCount * 5 / 2);
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            points.Add((mesh.Vertex(a) + mesh.Vertex(b) + mesh.Vertex(c)) / 3);
            // Each edge inside is met from both sides; once is enough.
            if (a < b)
                points.Add((mesh.Vertex(a) + mesh.Vertex(b)) / 2);
            if (b < c)
                points.Add((mesh.Vertex(b) + mesh.Vertex(c)) / 2);
            if (c < a)
                points.Add((mesh.Vertex(c) + mesh.Vertex(a)) / 2);
        }

        return points;
    }
}
