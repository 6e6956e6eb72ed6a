using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Cloud;

/// <summary>The blocks of 8 × 8 × 8 grid nodes that lie within reach of points, and the points of each.</summary>
/// <remarks>
/// Node (i, j, k) lies at (i, j, k) · cell relative to the cloud's origin, so that the grid does not depend on which points there are.
/// Blocks are found from the points: space between far clusters costs nothing. Ordered by z, y, x. Points in the order of their
/// blocks, then of the tree. Cost: 0.1 µs a point; 28 bytes a point and 8 a block.
/// </remarks>
internal sealed class BlockGrid
{
    /// <summary>Nodes along the edge of a block.</summary>
    internal const int Edge = 8;

    internal const int Nodes = Edge * Edge * Edge;

    // Block coordinates are stored with 20 bits and a sign, so that three of them make a key.
    private const int Bits = 21;
    private const int Middle = 1 << (Bits - 1);
    private const long Mask = (1L << Bits) - 1;

    private readonly long[] _keys;
    private readonly long[] _pointKeys;
    private readonly int[] _pointStarts;

    private BlockGrid(double cell, double reach, long[] keys, long[] pointKeys, int[] pointStarts, OrientedPoints points)
    {
        CellMm = cell;
        ReachMm = reach;
        _keys = keys;
        _pointKeys = pointKeys;
        _pointStarts = pointStarts;
        Points = points;
    }

    internal double CellMm { get; }

    /// <summary>How far a point is felt; at most one block edge.</summary>
    internal double ReachMm { get; }

    internal int Count => _keys.Length;

    internal OrientedPoints Points { get; }

    /// <exception cref="PlanException">The cell is too small for the size of the cloud.</exception>
    /// <param name="used">By place; points left out are not there.</param>
    internal static BlockGrid Build(PointIndex index, PointNormals normals, bool[] used, double cellMm, double reachMm, string step, RunContext run)
    {
        var block = Edge * cellMm;
        RequireRange(index, block, step);
        var keys = new ulong[index.Count];
        Partition.Ranges(run, keys.Length, 1 << 15, (_, from, to) =>
        {
            for (var p = from; p < to; p++)
                keys[p] = !used[p] ? ulong.MaxValue : (ulong)Key(Place(index.X[p], block), Place(index.Y[p], block), Place(index.Z[p], block));
        });
        var order = RadixSort.Order((ulong[])keys.Clone(), run)[..used.Count(u => u)];
        var (pointKeys, pointStarts) = Runs(keys, order);
        var points = OrientedPoints.Arrange(index, normals, order, run);
        return new(cellMm, reachMm, Reached(points, pointKeys, pointStarts, block, reachMm, run), pointKeys, pointStarts, points);
    }

    /// <summary>Coordinates of a block, in blocks.</summary>
    internal (int X, int Y, int Z) At(int block) => Coordinates(_keys[block]);

    /// <summary>Number of the block at these coordinates; negative when there is none.</summary>
    internal int Find(int x, int y, int z) => Math.Abs(x) >= Middle || Math.Abs(y) >= Middle || Math.Abs(z) >= Middle ? -1 : Array.BinarySearch(_keys, Key(x, y, z));

    /// <summary>Places in <see cref="Points"/> of the points in the block at these coordinates.</summary>
    internal (int From, int To) PointsIn(int x, int y, int z)
    {
        var at = Array.BinarySearch(_pointKeys, Key(x, y, z));
        return at < 0 ? (0, 0) : (_pointStarts[at], _pointStarts[at + 1]);
    }

    private static void RequireRange(PointIndex index, double block, string step)
    {
        var bounds = index.Bounds;
        var largest = 0.0;
        for (var axis = 0; axis < 3; axis++)
            largest = Math.Max(largest, Math.Max(Math.Abs(bounds.Min[axis]), Math.Abs(bounds.Max[axis])));
        // Two blocks of margin for what lies around the points.
        if (!(largest / block < Middle - 2))
            throw new PlanException(step, null, "cellMm", FormattableString.Invariant($"{block / Edge:G4}"), FormattableString.Invariant($"at least {largest / (Edge * (Middle - 2.0)) * 1.01:G4} for points so far apart, or remove outliers first"));
    }

    private static int Place(float coordinate, double block) => (int)Math.Floor(coordinate / block);

    private static long Key(int x, int y, int z) => ((long)(z + Middle) << (2 * Bits)) | ((long)(y + Middle) << Bits) | (uint)(x + Middle);

    private static (int X, int Y, int Z) Coordinates(long key) =>
        ((int)(key & Mask) - Middle, (int)((key >> Bits) & Mask) - Middle, (int)(key >> (2 * Bits)) - Middle);

    private static (long[] Keys, int[] Starts) Runs(ulong[] keys, int[] order)
    {
        var distinct = new List<long>();
        var starts = new List<int>();
        for (var i = 0; i < order.Length; i++)
        {
            var key = (long)keys[order[i]];
            if (i > 0 && key == distinct[^1])
                continue;
            distinct.Add(key);
            starts.Add(i);
        }

        starts.Add(order.Length);
        return ([.. distinct], [.. starts]);
    }

    /// <summary>Keys of the blocks that some point's ball reaches, in order.</summary>
    private static long[] Reached(OrientedPoints points, long[] pointKeys, int[] starts, double block, double reach, RunContext run)
    {
        const int piece = 1 << 9;
        var found = new long[Partition.Pieces(pointKeys.Length, piece)][];
        Partition.Ranges(run, pointKeys.Length, piece, (p, from, to) =>
        {
            var keys = new List<long>();
            for (var b = from; b < to; b++)
                AddReached(points, starts[b], starts[b + 1], Coordinates(pointKeys[b]), block, reach, keys);
            keys.Sort();
            found[p] = [.. keys.Distinct()];
        });
        var all = found.SelectMany(k => k).ToArray();
        Array.Sort(all);
        var count = 0;
        foreach (var key in all)
            if (count == 0 || key != all[count - 1])
                all[count++] = key;
        return all[..count];
    }

    private static void AddReached(OrientedPoints points, int from, int to, (int X, int Y, int Z) at, double block, double reach, List<long> keys)
    {
        var seen = 0;
        for (var p = from; p < to; p++)
        {
            int x = Touched(points.X[p] - (at.X * block), block, reach), y = Touched(points.Y[p] - (at.Y * block), block, reach), z = Touched(points.Z[p] - (at.Z * block), block, reach);
            for (var n = 0; n < 27; n++)
                if ((x >> (n % 3) & y >> (n / 3 % 3) & z >> (n / 9) & 1) != 0)
                    seen |= 1 << n;
        }

        for (var n = 0; n < 27; n++)
            if ((seen >> n & 1) != 0)
                keys.Add(Key(at.X + (n % 3) - 1, at.Y + (n / 3 % 3) - 1, at.Z + (n / 9) - 1));
    }

    // Bit 0: reaches into the block before, 1: its own, 2: the one after.
    private static int Touched(double along, double block, double reach) => (along < reach ? 1 : 0) | 2 | (along > block - reach ? 4 : 0);
}

/// <summary>Points with directions, x, y, z apart, in the order of their blocks.</summary>
internal sealed class OrientedPoints
{
    private OrientedPoints(int count)
    {
        X = new float[count];
        Y = new float[count];
        Z = new float[count];
        NormalX = new float[count];
        NormalY = new float[count];
        NormalZ = new float[count];
    }

    internal float[] X { get; }

    internal float[] Y { get; }

    internal float[] Z { get; }

    internal float[] NormalX { get; }

    internal float[] NormalY { get; }

    internal float[] NormalZ { get; }

    internal static OrientedPoints Arrange(PointIndex index, PointNormals normals, int[] order, RunContext run)
    {
        var points = new OrientedPoints(order.Length);
        Partition.Ranges(run, order.Length, 1 << 15, (_, from, to) =>
        {
            for (var i = from; i < to; i++)
            {
                var p = order[i];
                (points.X[i], points.Y[i], points.Z[i]) = (index.X[p], index.Y[p], index.Z[p]);
                var n = normals[p];
                (points.NormalX[i], points.NormalY[i], points.NormalZ[i]) = ((float)n.X, (float)n.Y, (float)n.Z);
            }
        });
        return points;
    }
}
