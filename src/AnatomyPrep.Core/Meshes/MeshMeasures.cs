using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Core.Meshes;

/// <summary>Volume and area, summed in double over fixed blocks so that every thread count gives the same bits.</summary>
public static class MeshMeasures
{
    private const int BlockTriangles = 1 << 15;

    /// <summary>Σ a·(b×c)/6 about the centre of the bounds; positive when triangles face outward. mm³.</summary>
    public static double SignedVolumeMm3(Mesh mesh, RunContext? run = null)
    {
        var center = mesh.BoundsMm().Center - mesh.OriginMm;
        return Sum(mesh, run, (m, t) =>
        {
            var (a, b, c) = m.Triangle(t);
            return Vec3.Dot(m.Local(a) - center, Vec3.Cross(m.Local(b) - center, m.Local(c) - center)) / 6;
        });
    }

    /// <summary>Σ |(b−a)×(c−a)|/2. mm².</summary>
    public static double AreaMm2(Mesh mesh, RunContext? run = null) => Sum(mesh, run, TriangleAreaMm2);

    /// <summary>Area per origin, indexed by <see cref="Origin"/>. mm².</summary>
    public static double[] AreaByOriginMm2(Mesh mesh, RunContext? run = null)
    {
        var areas = new double[5];
        for (var origin = 0; origin < areas.Length; origin++)
        {
            var wanted = (Origin)origin;
            areas[origin] = Sum(mesh, run, (m, t) => m.Origins[t] == wanted ? TriangleAreaMm2(m, t) : 0);
        }

        return areas;
    }

    public static double TriangleAreaMm2(Mesh mesh, int t)
    {
        var (a, b, c) = mesh.Triangle(t);
        var p = mesh.Local(a);
        return Vec3.Cross(mesh.Local(b) - p, mesh.Local(c) - p).Length / 2;
    }

    private static double Sum(Mesh mesh, RunContext? run, Func<Mesh, int, double> term)
    {
        var blocks = new double[Partition.Pieces(mesh.TriangleCount, BlockTriangles)];
        Partition.Ranges(run ?? RunContext.Default, mesh.TriangleCount, BlockTriangles, (piece, from, to) =>
        {
            double sum = 0;
            for (var t = from; t < to; t++)
                sum += term(mesh, t);
            blocks[piece] = sum;
        });
        double total = 0;
        foreach (var block in blocks)
            total += block;
        return total;
    }
}
