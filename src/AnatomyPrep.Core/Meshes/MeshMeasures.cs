using System.Runtime.CompilerServices;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Core.Meshes;

/// <summary>Volume and area, summed in double over fixed blocks so that every thread count gives the same bits.</summary>
public static class MeshMeasures
{
    private const int BlockTriangles = 1 << 15;
    private const int Origins = 5;

    /// <summary>Σ a·(b×c)/6 about the centre of the bounds; positive when triangles face outward. mm³.</summary>
    public static double SignedVolumeMm3(Mesh mesh, RunContext? run = null)
    {
        var center = mesh.BoundsMm().Center - mesh.OriginMm;
        return Sum(mesh, run, new VolumeTerm(center));
    }

    /// <summary>Σ |(b−a)×(c−a)|/2. mm².</summary>
    public static double AreaMm2(Mesh mesh, RunContext? run = null) => Sum(mesh, run, default(AreaTerm));

    /// <summary>Area of the triangles with a corner among the marked vertices. mm².</summary>
    public static double AreaTouchingMm2(Mesh mesh, bool[] marked, RunContext? run = null) => Sum(mesh, run, new TouchingAreaTerm(marked));

    /// <summary>Area per origin, indexed by <see cref="Origin"/>. mm².</summary>
    public static double[] AreaByOriginMm2(Mesh mesh, RunContext? run = null)
    {
        var blocks = new double[Partition.Pieces(mesh.TriangleCount, BlockTriangles)][];
        Partition.Ranges(run ?? RunContext.Default, mesh.TriangleCount, BlockTriangles, (piece, from, to) =>
        {
            var sums = new double[Origins];
            for (var t = from; t < to; t++)
                sums[(int)mesh.Origins[t]] += TriangleAreaMm2(mesh, t);
            blocks[piece] = sums;
        });
        var areas = new double[Origins];
        foreach (var block in blocks)
            for (var origin = 0; origin < Origins; origin++)
                areas[origin] += block[origin];
        return areas;
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static double TriangleAreaMm2(Mesh mesh, int t)
    {
        var (a, b, c) = mesh.Triangle(t);
        var p = mesh.Local(a);
        return Vec3.Cross(mesh.Local(b) - p, mesh.Local(c) - p).Length / 2;
    }

    private static double Sum<TTerm>(Mesh mesh, RunContext? run, TTerm term)
        where TTerm : struct, ITerm
    {
        var blocks = new double[Partition.Pieces(mesh.TriangleCount, BlockTriangles)];
        Partition.Ranges(run ?? RunContext.Default, mesh.TriangleCount, BlockTriangles, (piece, from, to) =>
        {
            double sum = 0;
            for (var t = from; t < to; t++)
                sum += term.Of(mesh, t);
            blocks[piece] = sum;
        });
        double total = 0;
        foreach (var block in blocks)
            total += block;
        return total;
    }

    /// <summary>What a triangle adds; a struct, so that the loop over triangles calls nothing.</summary>
    private interface ITerm
    {
        double Of(Mesh mesh, int t);
    }

    private readonly struct VolumeTerm(Vec3 center) : ITerm
    {
        public double Of(Mesh mesh, int t)
        {
            var (a, b, c) = mesh.Triangle(t);
            return Vec3.Dot(mesh.Local(a) - center, Vec3.Cross(mesh.Local(b) - center, mesh.Local(c) - center)) / 6;
        }
    }

    private readonly struct AreaTerm : ITerm
    {
        public double Of(Mesh mesh, int t) => TriangleAreaMm2(mesh, t);
    }

    private readonly struct TouchingAreaTerm(bool[] marked) : ITerm
    {
        public double Of(Mesh mesh, int t)
        {
            var (a, b, c) = mesh.Triangle(t);
            return marked[a] || marked[b] || marked[c] ? TriangleAreaMm2(mesh, t) : 0;
        }
    }
}
