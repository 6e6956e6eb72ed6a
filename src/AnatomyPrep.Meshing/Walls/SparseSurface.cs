using System.Numerics;
using System.Runtime.CompilerServices;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Surface;

namespace AnatomyPrep.Meshing.Walls;

/// <summary>The boundary of a field's region as triangles, each vertex placed on the bound it belongs to.</summary>
/// <remarks>
/// Cells and rules are those of <see cref="CellCases"/>, so the result is a closed, oriented 2-manifold for any field. As in
///   <see cref="FlyingEdges"/>, inside is one bit a sample, crossings are counted, and counts say where everything is written.
/// Vertices: first on the grid edge between an inside and an outside sample, by linear interpolation of the coordinate and at least
///   <see cref="ClearCells"/> from both samples, so that triangles keep their shape; then along the distance's gradient onto the
///   level (<see cref="BandField.TryProject"/>). Where the outside sample lies beyond the rim, or the coordinate changes by more
///   than the way between the samples, or the level is not reached nearby, the grid edge is halved until the boundary is found.
/// A vertex on its grid edge is its fallback: with all vertices there, no two triangles cross (docs/methods/surface.md).
/// Memory: 38 bytes a vertex and 12 a triangle, beside the grid.
/// </remarks>
internal sealed unsafe class SparseSurface
{
    /// <summary>Vertices start at least this part of a cell away from a sample.</summary>
    public const double ClearCells = 0.15;

    // Where a bound cuts an edge at a sharp angle, moving off it would leave it; this much is enough against triangles without area.
    private const double LeastClearCells = 0.02;
    private const int Halvings = 14;
    private const int Rows = 9;
    private const int Words = 24;
    private const int PieceBlocks = 32;

    private readonly SparseGrid _grid;
    private readonly BandField _field;
    private readonly double _moveMm;
    private readonly int[] _firstVertex;
    private readonly int[] _firstTriangle;
    private readonly ulong[] _crossings;

    private SparseSurface(SparseGrid grid, BandField field, RunContext run)
    {
        _grid = grid;
        _field = field;
        _moveMm = 0.75 * grid.CellMm;
        _firstVertex = new int[grid.BlockCount + 1];
        _firstTriangle = new int[grid.BlockCount + 1];
        _crossings = new ulong[checked((long)Words * grid.BlockCount)];
        Partition.Ranges(run, grid.BlockCount, PieceBlocks, (_, from, to) =>
        {
            for (var b = from; b < to; b++)
                Count(b);
        });
        Sum(_firstVertex);
        Sum(_firstTriangle);
        var vertices = _firstVertex[^1];
        Positions = new float[checked(3 * vertices)];
        Bounds = new Bound[vertices];
        Moved = new bool[vertices];
        NearTriangle = new int[vertices];
        Edges = new GridEdge[vertices];
        Triangles = new int[checked(3 * _firstTriangle[^1])];
        Partition.Ranges(run, grid.BlockCount, PieceBlocks, (_, from, to) =>
        {
            var near = new Neighbours();
            for (var b = from; b < to; b++)
            {
                PlaceVertices(b, ref near);
                JoinTriangles(b);
            }
        });
    }

    public float[] Positions { get; }

    public int[] Triangles { get; }

    public int VertexCount => Bounds.Length;

    /// <summary>The bound each vertex lies on.</summary>
    public Bound[] Bounds { get; }

    /// <summary>Whether a vertex left its grid edge.</summary>
    public bool[] Moved { get; }

    /// <summary>A triangle of the given surface that is nearest to each vertex.</summary>
    public int[] NearTriangle { get; }

    public GridEdge[] Edges { get; }

    public static SparseSurface Extract(SparseGrid grid, BandField field, RunContext run) => new(grid, field, run);

    public Vec3 Position(int vertex) => new(Positions[3 * vertex], Positions[(3 * vertex) + 1], Positions[(3 * vertex) + 2]);

    /// <summary>The triangles with all corners on a wanted bound, on the vertices of the whole.</summary>
    public Mesh Walls(Vec3 originMm, Func<Bound, bool> wanted)
    {
        var triangles = new List<int>();
        for (var t = 0; t < Triangles.Length; t += 3)
            if (wanted(Bounds[Triangles[t]]) && wanted(Bounds[Triangles[t + 1]]) && wanted(Bounds[Triangles[t + 2]]))
                triangles.AddRange(Triangles.AsSpan(t, 3));
        return new(originMm, Positions, [.. triangles]);
    }

    public void Move(int vertex, in Vec3 to)
    {
        Positions[3 * vertex] = (float)to.X;
        Positions[(3 * vertex) + 1] = (float)to.Y;
        Positions[(3 * vertex) + 2] = (float)to.Z;
        Moved[vertex] = true;
    }

    /// <summary>Puts a vertex back on its grid edge, where the region ends.</summary>
    public void PutBack(int vertex)
    {
        var near = new Neighbours();
        Move(vertex, Halve(Edges[vertex], out _, ref near));
        Moved[vertex] = false;
    }

    private static void Sum(int[] counts)
    {
        long sum = 0;
        for (var b = 0; b < counts.Length; b++)
        {
            var count = counts[b];
            counts[b] = (int)sum;
            sum += count;
            if (3 * sum > int.MaxValue)
                throw new BadInputException("shell", "triangles", "more than 715 million", "Give a larger cellMm.");
        }
    }

    private void Count(int b)
    {
        var rows = stackalloc ushort[Rows * Rows];
        if (!GatherRows(b, rows))
            return;
        var crossings = _crossings.AsSpan(Words * b, Words);
        for (var z = 0; z < SparseGrid.Side; z++)
            for (var y = 0; y < SparseGrid.Side; y++)
            {
                int here = rows[(Rows * z) + y], shift = SparseGrid.Side * y;
                crossings[z] |= (ulong)((here ^ (here >> 1)) & 0xFF) << shift;
                crossings[8 + z] |= (ulong)((here ^ rows[(Rows * z) + y + 1]) & 0xFF) << shift;
                crossings[16 + z] |= (ulong)((here ^ rows[(Rows * (z + 1)) + y]) & 0xFF) << shift;
            }

        var vertices = 0;
        foreach (var word in crossings)
            vertices += BitOperations.PopCount(word);
        _firstVertex[b] = vertices;
        for (var z = 0; z < SparseGrid.Side; z++)
            for (var y = 0; y < SparseGrid.Side; y++)
                for (var active = ActiveCells(rows, y, z); active != 0; active &= active - 1)
                    _firstTriangle[b] += CellCases.TriangleCounts[Pattern(rows, BitOperations.TrailingZeroCount(active), y, z)];
    }

    /// <summary>Bit x of row (y, z): sample inside. The ninth of each direction belongs to the next blocks.</summary>
    /// <returns>False when all samples agree.</returns>
    private bool GatherRows(int b, ushort* rows)
    {
        var (bx, by, bz) = _grid.Block(b);
        var next = stackalloc int[8];
        for (var corner = 0; corner < 8; corner++)
            next[corner] = corner == 0 ? b : _grid.BlockAt(bx + (corner & 1), by + ((corner >> 1) & 1), bz + (corner >> 2));
        var any = 0;
        var all = 0x1FF;
        for (var z = 0; z < Rows; z++)
            for (var y = 0; y < Rows; y++)
            {
                var row = 0;
                for (var x = 0; x < Rows; x++)
                    row |= Inside(next, x, y, z) << x;
                rows[(Rows * z) + y] = (ushort)row;
                any |= row;
                all &= row;
            }

        return any != 0 && all != 0x1FF;
    }

    private int Inside(int* next, int x, int y, int z)
    {
        var block = next[(x >> 3) | ((y >> 3) << 1) | ((z >> 3) << 2)];

        // A block that is not there meets no boundary: its samples are as this block's own beside them.
        return block >= 0
            ? Inside(block, x & 7, y & 7, z & 7)
            : Inside(next[0], Math.Min(x, 7), Math.Min(y, 7), Math.Min(z, 7));
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private int Inside(int block, int x, int y, int z) =>
        _grid.Bounds.Pointer[((long)SparseGrid.BlockSamples * block) + Local(x, y, z)] == Bound.Inside ? 1 : 0;

    private static int Local(int x, int y, int z) => (((z << 3) | y) << 3) | x;

    private static int ActiveCells(ushort* rows, int y, int z)
    {
        int a = rows[(Rows * z) + y], b = rows[(Rows * z) + y + 1], c = rows[(Rows * (z + 1)) + y], d = rows[(Rows * (z + 1)) + y + 1];
        int any = a | b | c | d, all = a & b & c & d;
        return (any | (any >> 1)) & ~(all & (all >> 1)) & 0xFF;
    }

    private static int Pattern(ushort* rows, int x, int y, int z) =>
        ((rows[(Rows * z) + y] >> x) & 3)
        | (((rows[(Rows * z) + y + 1] >> x) & 3) << 2)
        | (((rows[(Rows * (z + 1)) + y] >> x) & 3) << 4)
        | (((rows[(Rows * (z + 1)) + y + 1] >> x) & 3) << 6);

    private void PlaceVertices(int b, ref Neighbours near)
    {
        var (bx, by, bz) = _grid.Block(b);
        var vertex = _firstVertex[b];
        for (var word = 0; word < Words; word++)
            for (var bits = _crossings[(Words * b) + word]; bits != 0; bits &= bits - 1)
            {
                var bit = BitOperations.TrailingZeroCount(bits);
                int x = bit & 7, y = bit >> 3, z = word & 7, axis = word >> 3;
                Edges[vertex] = new((8 * bx) + x, (8 * by) + y, (8 * bz) + z, axis, Inside(b, x, y, z) != 0);
                Place(vertex++, ref near);
            }
    }

    private void Place(int vertex, ref Neighbours near)
    {
        var (inside, outside) = Ends(Edges[vertex]);
        double from = Coordinate(Edges[vertex].Inside), to = Coordinate(Edges[vertex].Outside);
        var bound = BoundAt(Edges[vertex].Outside);
        if (bound is Bound.Low or Bound.High && Math.Abs(from - to) <= _grid.CellMm * 1.001)
        {
            var share = Math.Clamp((from - _field.LevelMm(bound)) / (from - to), ClearCells, 1 - ClearCells);
            if (_field.TryProject(bound, Vec3.Lerp(inside, outside, share), _moveMm, ref near, out var onto))
            {
                Move(vertex, onto);
                Bounds[vertex] = bound;
                NearTriangle[vertex] = near.Surface.Triangle;
                return;
            }
        }

        Move(vertex, Halve(Edges[vertex], out Bounds[vertex], ref near));
        Moved[vertex] = false;
        NearTriangle[vertex] = near.Surface.Triangle;
    }

    /// <summary>Where the region ends between two samples, and which bound ends it.</summary>
    private Vec3 Halve(in GridEdge edge, out Bound bound, ref Neighbours near)
    {
        var (inside, outside) = Ends(edge);
        double low = 0, high = 1;
        var before = _field.At(inside, 0, ref near).CoordinateMm;
        var end = _field.At(outside, 0, ref near);
        (var beyond, bound) = (end.CoordinateMm, end.Bound);
        for (var n = 0; n < Halvings; n++)
        {
            var middle = 0.5 * (low + high);
            var sample = _field.At(Vec3.Lerp(inside, outside, middle), 0, ref near);
            if (sample.Bound == Bound.Inside)
                (low, before) = (middle, sample.CoordinateMm);
            else
                (high, beyond, bound) = (middle, sample.CoordinateMm, sample.Bound);
        }

        // A jump, not a level: both ends are a hair apart, their coordinates are not. (A sample that stands for its neighbours may
        // even be on another side than it says.)
        if (bound == Bound.Inside || Math.Abs(before - beyond) > 0.01 * _grid.CellMm)
            bound = Bound.Rim;
        return Vec3.Lerp(inside, outside, Math.Clamp(0.5 * (low + high), LeastClearCells, 1 - LeastClearCells));
    }

    private (Vec3 Inside, Vec3 Outside) Ends(in GridEdge edge)
    {
        var (i, j, k) = edge.Inside;
        var (oi, oj, ok) = edge.Outside;
        return (_grid.Position(i, j, k), _grid.Position(oi, oj, ok));
    }

    private double Coordinate((int I, int J, int K) sample) => _grid.Coordinates.Pointer[Index(sample)];

    private Bound BoundAt((int I, int J, int K) sample) => _grid.Bounds.Pointer[Index(sample)];

    private long Index((int I, int J, int K) sample) =>
        ((long)SparseGrid.BlockSamples * _grid.BlockAt(sample.I >> 3, sample.J >> 3, sample.K >> 3)) + Local(sample.I & 7, sample.J & 7, sample.K & 7);

    private void JoinTriangles(int b)
    {
        var at = 3 * _firstTriangle[b];
        if (at == 3 * _firstTriangle[b + 1])
            return;
        var rows = stackalloc ushort[Rows * Rows];
        GatherRows(b, rows);
        var (bx, by, bz) = _grid.Block(b);
        var next = stackalloc int[8];
        for (var corner = 0; corner < 8; corner++)
            next[corner] = _grid.BlockAt(bx + (corner & 1), by + ((corner >> 1) & 1), bz + (corner >> 2));
        for (var z = 0; z < SparseGrid.Side; z++)
            for (var y = 0; y < SparseGrid.Side; y++)
                for (var active = ActiveCells(rows, y, z); active != 0; active &= active - 1)
                {
                    var x = BitOperations.TrailingZeroCount(active);
                    foreach (var edge in CellCases.Triangles(Pattern(rows, x, y, z)))
                    {
                        var from = CellCases.Edges[edge].From;
                        Triangles[at++] = VertexOf(next, x + (from & 1), y + ((from >> 1) & 1), z + (from >> 2), edge >> 2);
                    }
                }
    }

    /// <summary>Vertex on the edge along the axis from a sample of this block or the next ones.</summary>
    private int VertexOf(int* next, int x, int y, int z, int axis)
    {
        var block = next[(x >> 3) | ((y >> 3) << 1) | ((z >> 3) << 2)];
        var words = _crossings.AsSpan(Words * block, Words);
        var word = (axis << 3) | (z & 7);
        var vertex = _firstVertex[block];
        for (var before = 0; before < word; before++)
            vertex += BitOperations.PopCount(words[before]);
        return vertex + BitOperations.PopCount(words[word] & ((1UL << (((y & 7) << 3) | (x & 7))) - 1));
    }
}

/// <summary>A grid edge with one end inside: its lower sample, its axis, and whether that sample is the inside one.</summary>
internal readonly record struct GridEdge(int X, int Y, int Z, int Axis, bool LowIsInside)
{
    public (int I, int J, int K) Inside => LowIsInside ? (X, Y, Z) : High;

    public (int I, int J, int K) Outside => LowIsInside ? High : (X, Y, Z);

    private (int I, int J, int K) High => (X + (Axis == 0 ? 1 : 0), Y + (Axis == 1 ? 1 : 0), Z + (Axis == 2 ? 1 : 0));
}
