using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Mean curvature of the surface along a rim, wide enough to see past noise.</summary>
/// <remarks>
/// Per rim vertex a quadric height field z = f + dx + ey + ax² + bxy + cy² over the mean normal is fitted by least squares to the
/// vertices within reach along edges; reach is a quarter of the hole's diameter, at least 3 and at most 10 edge lengths.
/// One fit for every third of a reach, linear between; then averaged along the rim (five passes of 1/4, 1/2, 1/4). Positive where the surface bulges outward,
/// 1/R on a sphere. Clamped to 2 over the diameter: no sphere smaller than that passes through the rim.
/// </remarks>
internal static class RimCurvature
{
    private const int Smoothings = 5;
    private const int FewestPoints = 9;
    private const int MostPoints = 200;

    public static double[] Estimate(Mesh mesh, VertexTriangles around, HoleRim rim, RunContext run)
    {
        var curvature = new double[rim.Count];
        var mark = new int[mesh.VertexCount];
        int last = -1, next;
        for (var i = 0; i < rim.Count; i = next)
        {
            run.ThrowIfCancelled();
            var reach = Math.Clamp(rim.DiameterMm / 4, 3 * rim.LengthsMm[i], 10 * rim.LengthsMm[i]);
            curvature[i] = At(mesh, around, rim.Vertices[i], reach, mark, i + 1);
            for (var k = last + 1; last >= 0 && k < i; k++)
                curvature[k] = curvature[last] + ((curvature[i] - curvature[last]) * (k - last) / (i - last));
            last = i;
            next = i + Math.Max(1, (int)(reach / Math.Max(rim.LengthsMm[i], double.Epsilon) / 3));
            if (i < rim.Count - 1)
                next = Math.Min(next, rim.Count - 1);
        }

        var limit = 2 / Math.Max(rim.DiameterMm, double.Epsilon);
        for (var i = 0; i < rim.Count; i++)
            curvature[i] = Math.Clamp(curvature[i], -limit, limit);
        for (var pass = 0; pass < Smoothings; pass++)
        {
            var before = curvature.ToArray();
            for (var i = 0; i < rim.Count; i++)
                curvature[i] = (before[i] / 2) + ((before[(i + 1) % rim.Count] + before[(i + rim.Count - 1) % rim.Count]) / 4);
        }

        return curvature;
    }

    private static double At(Mesh mesh, VertexTriangles around, int center, double reach, int[] mark, int visit)
    {
        var points = Gather(mesh, around, center, reach, mark, visit, out var normal);
        if (points.Count < FewestPoints || normal.LengthSquared == 0)
            return 0;
        var n = normal.Normalized();
        var u = Vec3.Cross(n, Math.Abs(n.X) < 0.6 ? new Vec3(1, 0, 0) : new Vec3(0, 1, 0)).Normalized();
        var v = Vec3.Cross(n, u);
        var at = mesh.Local(center);
        var fit = new QuadricFit();
        foreach (var p in points)
        {
            var q = (p - at) / reach;
            fit.Add(Vec3.Dot(q, u), Vec3.Dot(q, v), Vec3.Dot(q, n));
        }

        return -fit.MeanCurvature() / reach;
    }

    private static List<Vec3> Gather(Mesh mesh, VertexTriangles around, int center, double reach, int[] mark, int visit, out Vec3 normal)
    {
        var at = mesh.Local(center);
        var open = new List<int> { center };
        var points = new List<Vec3> { at };
        mark[center] = visit;
        normal = Vec3.Zero;
        for (var i = 0; i < open.Count && open.Count < MostPoints; i++)
        {
            foreach (var corner in around.CornersAt(open[i]))
            {
                int next = mesh.Triangles[EdgeTable.Next(corner)], previous = mesh.Triangles[EdgeTable.Previous(corner)];
                Vec3 p = mesh.Local(next), q = mesh.Local(previous);
                normal += Vec3.Cross(p - points[i], q - points[i]);
                Take(next, p);
                Take(previous, q);
            }
        }

        return points;

        void Take(int v, Vec3 p)
        {
            if (mark[v] == visit || (p - at).LengthSquared > reach * reach)
                return;
            mark[v] = visit;
            open.Add(v);
            points.Add(p);
        }
    }
}
