using System.Numerics;
using System.Runtime.CompilerServices;
using System.Runtime.InteropServices;
using System.Runtime.Intrinsics;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Cloud;

/// <content>Which points are near.</content>
internal sealed partial class PointIndex
{
    /// <summary>Most neighbours that can be asked for.</summary>
    internal const int MostNeighbours = 256;

    private const int PieceLeaves = 64;
    private const int DeepestStack = 64;

    // Covers the rounding of two float32 distances and of their sum.
    private const float WarmStartMargin = 1.0001f;

    /// <summary>What is done with the neighbours of a point, on several threads.</summary>
    internal interface INeighbours
    {
        /// <param name="place">Place of the point in the tree.</param>
        /// <param name="near">Places of its neighbours by distance, then place; itself is not among them.</param>
        /// <param name="squared">Their squared distances.</param>
        void Visit(int place, ReadOnlySpan<int> near, ReadOnlySpan<float> squared);
    }

    /// <summary>What is done with a leaf that reaches into a ball.</summary>
    internal interface ILeaves
    {
        /// <summary>Called for each leaf, nearer ones first; returns the squared radius from now on.</summary>
        float Visit(int from, int to, float radiusSquared);
    }

    /// <summary>The k nearest points, nearest first, equally near ones by place; fewer when there are fewer within the distance.</summary>
    /// <param name="at">Takes the places, and by its length says how many are wanted.</param>
    /// <param name="squared">Takes the squared distances.</param>
    /// <returns>How many were found.</returns>
    internal int Nearest(float x, float y, float z, Span<int> at, Span<float> squared, float withinSquared = float.PositiveInfinity)
    {
        var best = new Best(this, x, y, z, at, squared, withinSquared);
        return Search(x, y, z, withinSquared, ref best).Found;
    }

    /// <summary>Calls <paramref name="leaves"/> for every leaf whose box reaches within the radius.</summary>
    internal void VisitLeaves<T>(float x, float y, float z, float radiusSquared, ref T leaves)
        where T : struct, ILeaves, allows ref struct
    {
        if (Count > 0)
            Descend(x, y, z, radiusSquared, ref leaves);
    }

    /// <summary>Calls <paramref name="neighbours"/> once for every point with its k nearest others.</summary>
    /// <remarks>
    /// Points are visited in tree order. The distance to the k-th neighbour changes by no more than the way from one point to the
    /// next, so each search begins with what the last one found, and most of the tree is never looked at.
    /// </remarks>
    internal void VisitNeighbours<T>(int k, RunContext run, T neighbours)
        where T : INeighbours
    {
        ArgumentOutOfRangeException.ThrowIfGreaterThan(k, MostNeighbours);
        Partition.Ranges(run, Count == 0 ? 0 : LeafCount, PieceLeaves, (_, firstLeaf, endLeaf) =>
        {
            Span<int> at = stackalloc int[k + 1];
            Span<float> squared = stackalloc float[k + 1];
            int from = Leaf(firstLeaf).From, to = Leaf(endLeaf - 1).To;
            var within = float.PositiveInfinity;
            for (var p = from; p < to; p++)
            {
                var found = Nearest(X[p], Y[p], Z[p], at, squared, within);
                var self = at[..found].IndexOf(p);
                // More than k points on one spot: the point itself may be left out of its own list; then the last goes.
                if (self < 0)
                    self = found - 1;
                at[(self + 1)..found].CopyTo(at[self..]);
                squared[(self + 1)..found].CopyTo(squared[self..]);
                neighbours.Visit(p, at[..(found - 1)], squared[..(found - 1)]);
                if (found == k + 1 && p + 1 < to)
                {
                    float dx = X[p + 1] - X[p], dy = Y[p + 1] - Y[p], dz = Z[p + 1] - Z[p];
                    var reach = (MathF.Sqrt(squared[k - 1]) + MathF.Sqrt((dx * dx) + (dy * dy) + (dz * dz))) * WarmStartMargin;
                    within = (reach * reach) + float.Epsilon;
                }
                else
                {
                    within = float.PositiveInfinity;
                }
            }
        });
    }

    private Best Search(float x, float y, float z, float withinSquared, ref Best best)
    {
        if (Count > 0)
            Descend(x, y, z, withinSquared, ref best);
        return best;
    }

    [SkipLocalsInit]
    private void Descend<T>(float x, float y, float z, float radiusSquared, ref T leaves)
        where T : struct, ILeaves, allows ref struct
    {
        Span<Waiting> stack = stackalloc Waiting[DeepestStack];
        var depth = 0;
        var firstLeaf = LeafCount - 1;
        ref var boxes = ref MemoryMarshal.GetArrayDataReference(_boxes);
        var next = new Waiting(0, 0);
        while (true)
        {
            // Down to the nearer leaf; the other halves wait.
            while (next.Node < firstLeaf)
            {
                var child = (2 * next.Node) + 1;
                float a = BoxSquared(ref boxes, child, x, y, z), b = BoxSquared(ref boxes, child + 1, x, y, z);
                var (near, far) = a <= b ? (new Waiting(child, a), new Waiting(child + 1, b)) : (new Waiting(child + 1, b), new Waiting(child, a));
                if (far.Squared <= radiusSquared)
                    stack[depth++] = far;
                next = near;
                if (near.Squared > radiusSquared)
                    break;
            }

            if (next.Node >= firstLeaf && next.Squared <= radiusSquared)
            {
                var (from, to) = Leaf(next.Node - firstLeaf);
                radiusSquared = leaves.Visit(from, to, radiusSquared);
            }

            do
            {
                if (depth == 0)
                    return;
                next = stack[--depth];
            }
            while (next.Squared > radiusSquared);
        }
    }

    // Rounding can only make it larger by a few units in the last place: lowered so that no point at the limit is missed.
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static float BoxSquared(ref float boxes, int node, float x, float y, float z)
    {
        ref var box = ref Unsafe.Add(ref boxes, 6 * node);
        var dx = MathF.Max(MathF.Max(box - x, x - Unsafe.Add(ref box, 3)), 0);
        var dy = MathF.Max(MathF.Max(Unsafe.Add(ref box, 1) - y, y - Unsafe.Add(ref box, 4)), 0);
        var dz = MathF.Max(MathF.Max(Unsafe.Add(ref box, 2) - z, z - Unsafe.Add(ref box, 5)), 0);
        return ((dx * dx) + (dy * dy) + (dz * dz)) * (1 - 1e-6f);
    }

    private readonly record struct Waiting(int Node, float Squared);

    /// <summary>The nearest found so far, in order.</summary>
    private ref struct Best(PointIndex index, float x, float y, float z, Span<int> at, Span<float> squared, float withinSquared) : ILeaves
    {
        private readonly Span<int> _at = at;
        private readonly Span<float> _squared = squared;

        public int Found { get; private set; }

        public float Visit(int from, int to, float radiusSquared)
        {
            Vector256<float> qx = Vector256.Create(x), qy = Vector256.Create(y), qz = Vector256.Create(z);
            Span<float> distances = stackalloc float[Lanes];
            for (var p = from; p < to; p += Lanes)
            {
                var dx = Vector256.LoadUnsafe(ref index.X[p]) - qx;
                var dy = Vector256.LoadUnsafe(ref index.Y[p]) - qy;
                var dz = Vector256.LoadUnsafe(ref index.Z[p]) - qz;
                var squared = (dx * dx) + (dy * dy) + (dz * dz);
                var open = Vector256.LessThanOrEqual(squared, Vector256.Create(radiusSquared)).ExtractMostSignificantBits();
                if (to - p < Lanes)
                    open &= (1u << (to - p)) - 1;
                if (open == 0)
                    continue;
                squared.CopyTo(distances);
                for (; open != 0; open &= open - 1)
                {
                    var lane = BitOperations.TrailingZeroCount(open);
                    Insert(p + lane, distances[lane]);
                }

                radiusSquared = Found == _at.Length ? _squared[Found - 1] : withinSquared;
            }

            return radiusSquared;
        }

        private void Insert(int place, float distance)
        {
            var i = Found;
            if (i == _at.Length)
            {
                var last = i - 1;
                if (distance > _squared[last] || (distance == _squared[last] && place > _at[last]))
                    return;
                i = last;
            }
            else
            {
                Found++;
            }

            for (; i > 0 && (_squared[i - 1] > distance || (_squared[i - 1] == distance && _at[i - 1] > place)); i--)
            {
                _squared[i] = _squared[i - 1];
                _at[i] = _at[i - 1];
            }

            (_squared[i], _at[i]) = (distance, place);
        }
    }
}
