using System.Numerics;
using System.Runtime.CompilerServices;
using System.Runtime.InteropServices;
using System.Runtime.Intrinsics;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Spatial;

/// <summary>Finds triangles of a mesh by place: nearest, along a ray, in a box, overlapping pairs.</summary>
/// <remarks>
/// Method: packed box tree of fixed width after I. Kamel and C. Faloutsos, "On packing R-trees", CIKM 1993: triangles are
///   sorted along a Hilbert curve through the centres of their boxes, every eight make a leaf, every eight leaves a node, every
///   eight nodes a node. Differs: triangles much larger than the middle one are sorted to the end, each size class by itself, so
///   that a few long ones (flat caps) do not swell the boxes of all others.
/// Layout: no pointers. A leaf holds the corners of its eight triangles, 9 × 8 floats (x, y, z of corners a, b, c), a node the
///   boxes of its eight children, 6 × 8 floats (min x, y, z, max x, y, z); child c of number k is number 8k + c one level down.
///   Eight are tested at once (256-bit vectors; the same operations one by one where the processor has none). Lanes of the last
///   leaf and node that stand for nothing hold NaN, which no comparison accepts.
/// Corners and boxes are exact: the float32 positions of the mesh. Queries widen theirs before rounding to float.
/// Memory: 44 bytes a triangle kept (36 corners, 4 order, 4 boxes); 24 more while building.
/// Same tree on any number of threads. Immutable, safe to query from many threads; queries do not allocate.
/// The mesh is used as it is: triangles without area are found like others.
/// </remarks>
public sealed partial class TriangleTree
{
    /// <summary>Children of a node, triangles of a leaf.</summary>
    internal const int Width = 8;

    private const int NodeFloats = 6 * Width;
    private const int LeafFloats = 9 * Width;
    private const int PieceTriangles = 1 << 14;
    private const int DeepestStack = 96;

    // Level of a leaf; nodes whose children are leaves have level 0.
    private const int LeafLevel = -1;

    // Fourth powers of distances within this stay inside the range of float32.
    private const float FarthestMm = 1e9f;

    private readonly float[] _leaves;
    private readonly float[] _boxes;
    private readonly int[] _order;
    private readonly int[] _levelStart;
    private readonly float _reach;

    private TriangleTree(Mesh mesh, int[] order, float[] leaves, float[] boxes, int[] levelStart)
    {
        Mesh = mesh;
        _order = order;
        _leaves = leaves;
        _boxes = boxes;
        _levelStart = levelStart;
        _reach = order.Length == 0 ? 0 : Reach(Union(BoxesAt(ref Box(RootLevel, 0))));
    }

    public Mesh Mesh { get; }

    /// <summary>Triangles in the order in which neighbours lie together.</summary>
    public ReadOnlySpan<int> Order => _order;

    /// <summary>Bytes the tree holds besides the mesh.</summary>
    public long Bytes => 4L * (_leaves.Length + _boxes.Length + _order.Length);

    private int RootLevel => _levelStart.Length - 2;

    private int LeafCount => _leaves.Length / LeafFloats;

    /// <exception cref="BadInputException">A corner is not a number or farther than 1e9 mm, or the tree does not fit the memory budget.</exception>
    /// <exception cref="OperationCanceledException">Asked every few thousand triangles.</exception>
    public static TriangleTree Build(Mesh mesh, RunContext run)
    {
        run.Memory.Require("triangle-tree", 68L * mesh.TriangleCount, "Simplify the mesh, or raise the memory limit.");
        var order = RadixSort.Order(Keys(mesh, run), run);
        var leaves = GC.AllocateUninitializedArray<float>(checked(LeafFloats * Groups(order.Length)));
        FillLeaves(mesh, order, leaves, run);
        var levelStart = LevelStarts(Groups(order.Length));
        var boxes = GC.AllocateUninitializedArray<float>(checked(NodeFloats * levelStart[^1]));
        FillBoxes(leaves, boxes, levelStart, run);
        return new(mesh, order, leaves, boxes, levelStart);
    }

    /// <summary>Triangles whose boxes meet the given box, each once, added to the list in the tree's order.</summary>
    public void TrianglesNear(Box3 boxMm, List<int> triangles)
    {
        if (!boxMm.IsEmpty)
            TrianglesNearLocal(boxMm.Min - Mesh.OriginMm, boxMm.Max - Mesh.OriginMm, triangles);
    }

    /// <summary><see cref="TrianglesNear"/> in the mesh's own frame, without rounding.</summary>
    internal void TrianglesNearLocal(in Vec3 min, in Vec3 max, List<int> triangles)
    {
        if (_order.Length == 0)
            return;
        var (low, high) = RoundOutward(min, max);
        Span<long> stack = stackalloc long[DeepestStack];
        var depth = 0;
        stack[depth++] = Entry(RootLevel, 0);
        while (depth > 0)
        {
            var (level, node) = Split(stack[--depth]);
            var hits = level == LeafLevel ? BoxesOf(ref Leaf(node)).Meets(low, high) : Overlapping(ref Box(level, node), low, high);
            if (level == LeafLevel)
            {
                for (; hits != 0; hits &= hits - 1)
                    triangles.Add(_order[(node * Width) + BitOperations.TrailingZeroCount(hits)]);
                continue;
            }

            // Highest first, so that the lowest is taken next.
            for (; hits != 0; hits &= ~(1u << BitOperations.Log2(hits)))
                stack[depth++] = Entry(level - 1, (node * Width) + BitOperations.Log2(hits));
        }
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private ref float Box(int level, int node) =>
        ref Unsafe.Add(ref MemoryMarshal.GetArrayDataReference(_boxes), (nint)NodeFloats * (_levelStart[level] + node));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private ref float Leaf(int leaf) => ref Unsafe.Add(ref MemoryMarshal.GetArrayDataReference(_leaves), (nint)LeafFloats * leaf);

    private static long Entry(int level, int node) => ((long)level << 32) | (uint)node;

    private static (int Level, int Node) Split(long entry) => ((int)(entry >> 32), (int)entry);

    /// <summary>One bit for each child of a node whose box meets low … high; boxes are closed.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static uint Overlapping(ref float node, in Corner low, in Corner high) =>
        (Vector256.LessThanOrEqual(Vector256.LoadUnsafe(ref node), Vector256.Create(high.X))
        & Vector256.LessThanOrEqual(Vector256.LoadUnsafe(ref node, 8), Vector256.Create(high.Y))
        & Vector256.LessThanOrEqual(Vector256.LoadUnsafe(ref node, 16), Vector256.Create(high.Z))
        & Vector256.GreaterThanOrEqual(Vector256.LoadUnsafe(ref node, 24), Vector256.Create(low.X))
        & Vector256.GreaterThanOrEqual(Vector256.LoadUnsafe(ref node, 32), Vector256.Create(low.Y))
        & Vector256.GreaterThanOrEqual(Vector256.LoadUnsafe(ref node, 40), Vector256.Create(low.Z))).ExtractMostSignificantBits();

    private static (Corner Low, Corner High) RoundOutward(in Vec3 low, in Vec3 high) =>
        (new(Down(low.X), Down(low.Y), Down(low.Z)), new(Up(high.X), Up(high.Y), Up(high.Z)));

    /// <summary>Largest float not above x.</summary>
    private static float Down(double x)
    {
        var f = (float)x;
        return f > x ? MathF.BitDecrement(f) : f;
    }

    /// <summary>Smallest float not below x.</summary>
    private static float Up(double x)
    {
        var f = (float)x;
        return f < x ? MathF.BitIncrement(f) : f;
    }

    private static int Groups(int count) => Math.Max(1, (count + Width - 1) / Width);

    /// <summary>First node of each level of boxes, and the number of all.</summary>
    private static int[] LevelStarts(int leaves)
    {
        var starts = new List<int> { 0 };
        var count = leaves;
        do
        {
            count = Groups(count);
            starts.Add(starts[^1] + count);
        }
        while (count > 1);
        return [.. starts];
    }

    /// <summary>Size class in the top bits, place along the curve below it.</summary>
    private static ulong[] Keys(Mesh mesh, RunContext run)
    {
        var n = mesh.TriangleCount;
        var keys = GC.AllocateUninitializedArray<ulong>(n);
        var pieces = Partition.Pieces(n, PieceTriangles);
        var bounds = new (Corner Low, Corner High)[pieces];
        var sizes = new int[pieces][];
        Partition.Ranges(run, n, PieceTriangles, (piece, from, to) =>
        {
            var count = new int[256];
            Corner low = Corner.Highest, high = Corner.Lowest;
            for (var t = from; t < to; t++)
            {
                var (min, max) = TriangleBox(mesh, t);
                var size = Size(min, max);
                if (!(Reach(min, max) <= FarthestMm))
                    throw OutOfReach(t);
                count[Exponent(size)]++;
                var center = Center(min, max);
                (low, high) = (Corner.Min(low, center), Corner.Max(high, center));
            }

            (bounds[piece], sizes[piece]) = ((low, high), count);
        });

        Corner first = Corner.Highest, last = Corner.Lowest;
        foreach (var (low, high) in bounds)
            (first, last) = (Corner.Min(first, low), Corner.Max(last, high));
        var middle = MiddleExponent(sizes, n);

        // A surface of n triangles crosses about √n cells an axis; 2^7 times finer leaves room for far outliers.
        var levels = Math.Min(HilbertCurve.MostLevels, ((int)Math.Ceiling(Math.Log2(n + 1) / 2) + 8) & ~1);
        var cells = (double)(1u << levels);
        double Scale(float from, float to) => to > from ? cells / ((double)to - from) : 0;
        double scaleX = Scale(first.X, last.X), scaleY = Scale(first.Y, last.Y), scaleZ = Scale(first.Z, last.Z);
        var scale = Math.Min(Positive(scaleX), Math.Min(Positive(scaleY), Positive(scaleZ)));
        var highest = (1u << levels) - 1;
        Partition.Ranges(run, n, PieceTriangles, (_, from, to) =>
        {
            for (var t = from; t < to; t++)
            {
                var (min, max) = TriangleBox(mesh, t);
                var center = Center(min, max);
                var place = HilbertCurve.Index(
                    Math.Min(highest, (uint)(((double)center.X - first.X) * scale)),
                    Math.Min(highest, (uint)(((double)center.Y - first.Y) * scale)),
                    Math.Min(highest, (uint)(((double)center.Z - first.Z) * scale)),
                    levels);
                var sizeClass = Math.Clamp((Exponent(Size(min, max)) - middle) / 3, 0, 7);
                keys[t] = place | ((ulong)sizeClass << (3 * levels));
            }
        });
        return keys;
    }

    private static double Positive(double scale) => scale > 0 ? scale : double.MaxValue;

    private static float Reach((Corner Min, Corner Max) box) => Reach(box.Min, box.Max);

    private static float Reach(in Corner min, in Corner max) => MathF.Max(
        MathF.Max(MathF.Max(MathF.Abs(min.X), MathF.Abs(min.Y)), MathF.Abs(min.Z)),
        MathF.Max(MathF.Max(MathF.Abs(max.X), MathF.Abs(max.Y)), MathF.Abs(max.Z)));

    private static BadInputException OutOfReach(int triangle) => new(
        "mesh",
        "position",
        FormattableString.Invariant($"a corner of triangle {triangle} is not a number or farther than {FarthestMm:G1} mm from the origin"),
        "Read the mesh again with the right unit, or remove the triangle.");

    private static float Size(in Corner min, in Corner max) => Math.Max(Math.Max(max.X - min.X, max.Y - min.Y), max.Z - min.Z);

    private static Corner Center(in Corner min, in Corner max) =>
        new((min.X * 0.5f) + (max.X * 0.5f), (min.Y * 0.5f) + (max.Y * 0.5f), (min.Z * 0.5f) + (max.Z * 0.5f));

    private static int Exponent(float size) => (int)(BitConverter.SingleToUInt32Bits(size) >> 23) & 255;

    private static int MiddleExponent(int[][] sizes, int n)
    {
        long below = 0;
        for (var exponent = 0; exponent < 256; exponent++)
        {
            foreach (var count in sizes)
                below += count[exponent];
            if (2 * below >= n)
                return exponent;
        }

        return 255;
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static (Corner Min, Corner Max) TriangleBox(Mesh mesh, int t)
    {
        var p = mesh.PositionArray;
        var v = mesh.TriangleArray;
        int a = 3 * v[3 * t], b = 3 * v[(3 * t) + 1], c = 3 * v[(3 * t) + 2];
        Corner pa = new(p[a], p[a + 1], p[a + 2]), pb = new(p[b], p[b + 1], p[b + 2]), pc = new(p[c], p[c + 1], p[c + 2]);
        return (Corner.Min(Corner.Min(pa, pb), pc), Corner.Max(Corner.Max(pa, pb), pc));
    }

    private static void FillLeaves(Mesh mesh, int[] order, float[] leaves, RunContext run)
    {
        var p = mesh.PositionArray;
        var v = mesh.TriangleArray;
        Partition.Ranges(run, leaves.Length / LeafFloats, PieceTriangles / Width, (_, from, to) =>
        {
            for (var leaf = from; leaf < to; leaf++)
            {
                var into = leaves.AsSpan(LeafFloats * leaf, LeafFloats);
                for (var lane = 0; lane < Width; lane++)
                {
                    var place = (leaf * Width) + lane;
                    for (var k = 0; k < 9; k++)
                        into[(k * Width) + lane] = place < order.Length ? p[(3 * v[(3 * order[place]) + (k / 3)]) + (k % 3)] : float.NaN;
                }
            }
        });
    }

    private static void FillBoxes(float[] leaves, float[] boxes, int[] levelStart, RunContext run)
    {
        for (var level = 0; level < levelStart.Length - 1; level++)
        {
            var below = level == 0 ? leaves.Length / LeafFloats : levelStart[level] - levelStart[level - 1];
            var here = level;
            Partition.Ranges(run, levelStart[level + 1] - levelStart[level], PieceTriangles / Width, (_, from, to) =>
            {
                for (var node = from; node < to; node++)
                {
                    var into = boxes.AsSpan(NodeFloats * (levelStart[here] + node), NodeFloats);
                    for (var lane = 0; lane < Width; lane++)
                    {
                        var child = (node * Width) + lane;
                        if (child >= below)
                            Store(into, lane, Corner.NotANumber, Corner.NotANumber);
                        else if (here == 0)
                            StoreUnion(into, lane, BoxesOf(ref leaves[LeafFloats * child]));
                        else
                            StoreUnion(into, lane, BoxesAt(ref boxes[NodeFloats * (levelStart[here - 1] + child)]));
                    }
                }
            });
        }
    }

    private static void StoreUnion(Span<float> node, int lane, in Boxes8 boxes)
    {
        var (min, max) = Union(boxes);
        Store(node, lane, min, max);
    }

    /// <summary>The box around eight.</summary>
    private static (Corner Min, Corner Max) Union(in Boxes8 boxes) => (
        new(Least(boxes.MinX), Least(boxes.MinY), Least(boxes.MinZ)),
        new(-Least(-boxes.MaxX), -Least(-boxes.MaxY), -Least(-boxes.MaxZ)));

    /// <summary>The smallest lane that is a number; the first lane always is one.</summary>
    private static float Least(Vector256<float> lanes)
    {
        var least = lanes[0];
        for (var lane = 1; lane < Width; lane++)
            if (lanes[lane] < least)
                least = lanes[lane];
        return least;
    }

    private static void Store(Span<float> node, int lane, in Corner min, in Corner max)
    {
        node[lane] = min.X;
        node[lane + 8] = min.Y;
        node[lane + 16] = min.Z;
        node[lane + 24] = max.X;
        node[lane + 32] = max.Y;
        node[lane + 40] = max.Z;
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static Boxes8 BoxesAt(ref float node) => new(
        Vector256.LoadUnsafe(ref node),
        Vector256.LoadUnsafe(ref node, 8),
        Vector256.LoadUnsafe(ref node, 16),
        Vector256.LoadUnsafe(ref node, 24),
        Vector256.LoadUnsafe(ref node, 32),
        Vector256.LoadUnsafe(ref node, 40));

    /// <summary>The boxes of the eight triangles of a leaf.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static Boxes8 BoxesOf(ref float leaf)
    {
        Vector256<float> ax = Vector256.LoadUnsafe(ref leaf), bx = Vector256.LoadUnsafe(ref leaf, 24), cx = Vector256.LoadUnsafe(ref leaf, 48);
        Vector256<float> ay = Vector256.LoadUnsafe(ref leaf, 8), by = Vector256.LoadUnsafe(ref leaf, 32), cy = Vector256.LoadUnsafe(ref leaf, 56);
        Vector256<float> az = Vector256.LoadUnsafe(ref leaf, 16), bz = Vector256.LoadUnsafe(ref leaf, 40), cz = Vector256.LoadUnsafe(ref leaf, 64);
        return new(
            Vector256.MinNative(Vector256.MinNative(ax, bx), cx),
            Vector256.MinNative(Vector256.MinNative(ay, by), cy),
            Vector256.MinNative(Vector256.MinNative(az, bz), cz),
            Vector256.MaxNative(Vector256.MaxNative(ax, bx), cx),
            Vector256.MaxNative(Vector256.MaxNative(ay, by), cy),
            Vector256.MaxNative(Vector256.MaxNative(az, bz), cz));
    }

    /// <summary>Eight boxes, one a lane.</summary>
    private readonly record struct Boxes8(
        Vector256<float> MinX, Vector256<float> MinY, Vector256<float> MinZ, Vector256<float> MaxX, Vector256<float> MaxY, Vector256<float> MaxZ)
    {
        /// <summary>One bit for each box that meets low … high; boxes are closed.</summary>
        [MethodImpl(MethodImplOptions.AggressiveInlining)]
        public uint Meets(in Corner low, in Corner high) =>
            (Vector256.LessThanOrEqual(MinX, Vector256.Create(high.X))
            & Vector256.LessThanOrEqual(MinY, Vector256.Create(high.Y))
            & Vector256.LessThanOrEqual(MinZ, Vector256.Create(high.Z))
            & Vector256.GreaterThanOrEqual(MaxX, Vector256.Create(low.X))
            & Vector256.GreaterThanOrEqual(MaxY, Vector256.Create(low.Y))
            & Vector256.GreaterThanOrEqual(MaxZ, Vector256.Create(low.Z))).ExtractMostSignificantBits();
    }

    /// <summary>A point in the mesh's own float32 frame.</summary>
    private readonly record struct Corner(float X, float Y, float Z)
    {
        public static readonly Corner Highest = new(float.PositiveInfinity, float.PositiveInfinity, float.PositiveInfinity);
        public static readonly Corner Lowest = new(float.NegativeInfinity, float.NegativeInfinity, float.NegativeInfinity);

        public static readonly Corner NotANumber = new(float.NaN, float.NaN, float.NaN);

        public static Corner Min(in Corner a, in Corner b) => new(MathF.Min(a.X, b.X), MathF.Min(a.Y, b.Y), MathF.Min(a.Z, b.Z));

        public static Corner Max(in Corner a, in Corner b) => new(MathF.Max(a.X, b.X), MathF.Max(a.Y, b.Y), MathF.Max(a.Z, b.Z));
    }
}
