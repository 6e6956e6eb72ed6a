using System.Numerics;
using System.Runtime.CompilerServices;
using System.Runtime.Intrinsics;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Spatial;

/// <content>Nearest point: nodes in order of the least distance their boxes allow.</content>
public sealed partial class TriangleTree
{
    // Covers the rounding of the float32 box distance: at most 6 · 2^-24 of its square.
    private const float LeastDistanceMargin = 1 - 1e-6f;

    // Covers the rounding of the last nearest point and of the next, a few 2^-53 of the extent.
    private const double WarmStartMargin = 1e-12;
    private const int PiecePoints = 1 << 11;

    /// <summary>Point of the surface nearest to <paramref name="pointMm"/>, looked for no farther than <paramref name="withinMm"/>.</summary>
    /// <returns><see cref="SurfacePoint.None"/> when the mesh is empty or nothing lies within the distance.</returns>
    public SurfacePoint Nearest(Vec3 pointMm, double withinMm = double.PositiveInfinity) =>
        Placed(NearestLocal(pointMm - Mesh.OriginMm, withinMm));

    private SurfacePoint Placed(in SurfacePoint local) => local.Found ? local with { PositionMm = local.PositionMm + Mesh.OriginMm } : local;

    /// <summary>Nearest points of many, each as <see cref="Nearest(Vec3, double)"/> gives it, in the order asked.</summary>
    /// <remarks>
    /// Points are visited along the tree's curve, and each search starts with the distance to the nearest point of its
    /// neighbour, so that most of the tree is never looked at. That bound changes no answer.
    /// </remarks>
    public SurfacePoint[] Nearest(Vec3[] pointsMm, RunContext run, double withinMm = double.PositiveInfinity)
    {
        var found = new SurfacePoint[pointsMm.Length];
        Visit(pointsMm, run, withinMm, (i, nearest) => found[i] = Placed(nearest));
        return found;
    }

    /// <summary>
    /// Calls <paramref name="visit"/> once for each point with what is nearest, position relative to the mesh's origin; on several
    /// threads, in no order that may be relied on.
    /// </summary>
    internal void Visit(ArraySegment<Vec3> pointsMm, RunContext run, double withinMm, Action<int, SurfacePoint> visit)
    {
        var order = AlongCurve(pointsMm, run);
        Partition.Ranges(run, order.Length, PiecePoints, (_, from, to) =>
        {
            var last = SurfacePoint.None;
            for (var k = from; k < to; k++)
            {
                var nearest = NearestLocal(pointsMm[order[k]] - Mesh.OriginMm, last, withinMm);
                visit(order[k], nearest);
                if (nearest.Found)
                    last = nearest;
            }
        });
    }

    /// <summary>Nearest point in the mesh's own frame, from what was nearest to a neighbouring point: the answer is the same, sooner.</summary>
    internal SurfacePoint NearestLocal(in Vec3 p, in SurfacePoint neighbours, double withinMm = double.PositiveInfinity) => NearestLocal(
        p,
        neighbours.Found ? Math.Min(withinMm, (p - neighbours.PositionMm).Length + (WarmStartMargin * (_reach + p.Length))) : withinMm);

    [SkipLocalsInit]
    internal SurfacePoint NearestLocal(in Vec3 p, double withinMm)
    {
        if (_order.Length == 0 || !(Math.Abs(p.X) <= FarthestMm && Math.Abs(p.Y) <= FarthestMm && Math.Abs(p.Z) <= FarthestMm))
            return SurfacePoint.None;
        var best = new Best(Math.Min(withinMm * withinMm, float.MaxValue));
        var (low, high) = RoundOutward(p, p);
        var eight = new Point8(p);
        Span<Waiting> stack = stackalloc Waiting[DeepestStack];
        Span<float> least = stackalloc float[Width];
        var depth = 0;
        stack[depth++] = new(0, RootLevel, 0);
        while (depth > 0)
        {
            var next = stack[--depth];
            if (next.LeastSquared > best.Squared)
                continue;
            if (next.Level == LeafLevel)
            {
                NearestInLeaf(p, eight, next.Node, least, ref best);
                continue;
            }

            var boxes = LeastSquared(ref Box(next.Level, next.Node), low, high);
            var open = Vector256.LessThanOrEqual(boxes, Vector256.Create(Up(best.Squared))).ExtractMostSignificantBits();
            boxes.CopyTo(least);
            var first = depth;
            for (; open != 0; open &= open - 1)
            {
                var lane = BitOperations.TrailingZeroCount(open);
                stack[depth++] = new(least[lane], next.Level - 1, (next.Node * Width) + lane);
            }

            if (depth - first > 1)
                NearestLast(stack[first..depth]);
        }

        return best.Triangle < 0 ? SurfacePoint.None : new(best.Triangle, best.Feature, best.Position, Math.Sqrt(best.Squared));
    }

    /// <summary>Measures the triangles of a leaf in double, most promising first, while they can still be nearer.</summary>
    private void NearestInLeaf(in Vec3 p, in Point8 eight, int leaf, Span<float> least, ref Best best)
    {
        ref var corners = ref Leaf(leaf);
        TriangleDistance8.LeastSquared(ref corners, eight, least);
        while (true)
        {
            var bound = Vector256.Create(Up(best.Squared));
            var open = Vector256.LessThanOrEqual(Vector256.LoadUnsafe(ref least[0]), bound).ExtractMostSignificantBits();
            if (open == 0)
                return;
            var lane = BitOperations.TrailingZeroCount(open);
            for (open &= open - 1; open != 0; open &= open - 1)
            {
                var other = BitOperations.TrailingZeroCount(open);
                if (least[other] < least[lane])
                    lane = other;
            }

            least[lane] = float.NaN;
            var q = PointTriangle.Nearest(p, CornerAt(ref corners, lane), CornerAt(ref corners, lane + 24), CornerAt(ref corners, lane + 48), out var feature);
            var squared = (p - q).LengthSquared;
            var triangle = _order[(leaf * Width) + lane];
            if (squared < best.Squared || (squared == best.Squared && (uint)triangle < (uint)best.Triangle))
                best = new(squared) { Triangle = triangle, Feature = feature, Position = q };
        }
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static Vec3 CornerAt(ref float corners, int lane) =>
        new(Unsafe.Add(ref corners, lane), Unsafe.Add(ref corners, lane + 8), Unsafe.Add(ref corners, lane + 16));

    /// <summary>Square of the distance that the eight boxes are away at least; never more than the true one.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static Vector256<float> LeastSquared(ref float node, in Corner low, in Corner high)
    {
        var x = Gap(Vector256.LoadUnsafe(ref node), Vector256.LoadUnsafe(ref node, 24), low.X, high.X);
        var y = Gap(Vector256.LoadUnsafe(ref node, 8), Vector256.LoadUnsafe(ref node, 32), low.Y, high.Y);
        var z = Gap(Vector256.LoadUnsafe(ref node, 16), Vector256.LoadUnsafe(ref node, 40), low.Z, high.Z);
        return ((x * x) + (y * y) + (z * z)) * Vector256.Create(LeastDistanceMargin);
    }

    // NaN of an empty lane stays NaN: a native maximum gives its second operand when one is NaN, so the difference comes last.
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static Vector256<float> Gap(Vector256<float> min, Vector256<float> max, float low, float high) =>
        Vector256.MaxNative(Vector256<float>.Zero, Vector256.MaxNative(min - Vector256.Create(high), Vector256.Create(low) - max));

    /// <summary>Indices of the points in the order of the curve through their own bounds.</summary>
    private static int[] AlongCurve(ArraySegment<Vec3> points, RunContext run)
    {
        const int Levels = 10;
        var bounds = Box3.Empty;
        foreach (var p in points)
            if (p.IsFinite)
                bounds = bounds.Including(p);
        var size = bounds.Size;
        var scale = ((1 << Levels) - 1) / Math.Max(double.Epsilon, Math.Max(size.X, Math.Max(size.Y, size.Z)));
        var keys = new ulong[points.Count];
        Partition.Ranges(run, points.Count, PieceTriangles, (_, from, to) =>
        {
            for (var i = from; i < to; i++)
            {
                var q = points[i] - bounds.Min;
                keys[i] = points[i].IsFinite
                    ? HilbertCurve.Index((uint)(q.X * scale), (uint)(q.Y * scale), (uint)(q.Z * scale), Levels)
                    : ulong.MaxValue;
            }
        });
        return RadixSort.Order(keys, run);
    }

    /// <summary>The nearest so far; before the first, the bound with triangle −1, which as unsigned is above all.</summary>
    private struct Best(double squared)
    {
        public double Squared = squared;
        public int Triangle = -1;
        public TriangleFeature Feature;
        public Vec3 Position;
    }

    /// <summary>A node to be opened, unless something nearer is found first.</summary>
    private readonly record struct Waiting(float LeastSquared, int Level, int Node);

    private static void NearestLast(Span<Waiting> nodes)
    {
        for (var i = 1; i < nodes.Length; i++)
        {
            var node = nodes[i];
            var j = i - 1;
            for (; j >= 0 && nodes[j].LeastSquared < node.LeastSquared; j--)
                nodes[j + 1] = nodes[j];
            nodes[j + 1] = node;
        }
    }
}
