using System.Numerics;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Surface;

namespace AnatomyPrep.Meshing.Cloud;

/// <summary>The zero surface of a <see cref="SignedField"/>: triangles in every cell whose eight nodes have a value.</summary>
/// <remarks>
/// Cells are filled by <see cref="CellCases"/>: inside is a negative value; crossing-free fans, one vertex a crossed grid edge, so that
///   the surface is a manifold around every vertex whose four cells are all filled. Where it ends is for <see cref="SheetClip"/> to say.
/// A vertex is kept off its two nodes by <see cref="Clearance"/> of a cell, as <see cref="FlyingEdges"/> does.
/// Gives vertices in the order of blocks, then axes, then nodes; triangles in the order of blocks and cells, origin measured. Vertices
///   that no triangle uses are left in.
/// Cost: 25 ns a node and core. Memory: the output and 250 bytes a block.
/// </remarks>
internal static class BlockSurface
{
    /// <summary>Part of a cell that a vertex stays away from the nodes of its edge.</summary>
    internal const float Clearance = 0.01f;

    private const int Edge = BlockGrid.Edge;
    private const int Wide = Edge + 1;
    private const int BlocksPerPiece = 64;
    private const int Words = BlockGrid.Nodes / 64;

    /// <exception cref="Core.Findings.BadInputException">More than 2^31 - 1 vertices or triangle corners.</exception>
    internal static Mesh Extract(SignedField field, string step, RunContext run)
    {
        var grid = field.Grid;
        var counted = new Counted[grid.Count];
        Partition.Ranges(run, grid.Count, BlocksPerPiece, (_, from, to) =>
        {
            var wide = new float[Wide * Wide * Wide];
            for (var b = from; b < to; b++)
                counted[b] = Counted.Of(field, b, wide);
        });
        var (vertices, triangles) = PrefixSums(counted, step);
        var positions = GC.AllocateUninitializedArray<float>(3 * vertices);
        var corners = GC.AllocateUninitializedArray<int>(3 * triangles);
        Partition.Ranges(run, grid.Count, BlocksPerPiece, (_, from, to) =>
        {
            var wide = new float[Wide * Wide * Wide];
            for (var b = from; b < to; b++)
                Fill(field, counted, b, wide, positions, corners);
        });
        return new(Vec3.Zero, positions, corners);
    }

    private static (int Vertices, int Triangles) PrefixSums(Counted[] counted, string step)
    {
        long vertices = 0, triangles = 0;
        foreach (var block in counted)
        {
            if (block is null)
                continue;
            block.FirstVertex = (int)vertices;
            block.FirstTriangle = (int)triangles;
            vertices += block.Vertices;
            triangles += block.Triangles;
            if (3 * vertices > int.MaxValue || 3 * triangles > int.MaxValue)
                throw new Core.Findings.BadInputException(step, "triangles", "more than 715 million", "Raise cellMm.");
        }

        return ((int)vertices, (int)triangles);
    }

    private static void Fill(SignedField field, Counted[] counted, int block, float[] wide, float[] positions, int[] corners)
    {
        if (counted[block] is not { } mine || mine.Vertices + mine.Triangles == 0)
            return;
        mine.Gather(field, wide);
        PlaceVertices(field.Grid, mine, wide, positions);
        Span<int> ids = stackalloc int[12];
        var at = 3 * mine.FirstTriangle;
        for (var cell = 0; mine.Triangles > 0 && cell < BlockGrid.Nodes; cell++)
        {
            int x = cell % Edge, y = cell / Edge % Edge, z = cell / (Edge * Edge);
            var pattern = Counted.Pattern(wide, x, y, z);
            if (pattern is < 1 or > 254)
                continue;
            var edges = CellCases.Triangles(pattern);
            foreach (var edge in edges)
                ids[edge] = mine.VertexOn(counted, x, y, z, edge);
            foreach (var edge in edges)
                corners[at++] = ids[edge];
        }
    }

    private static void PlaceVertices(BlockGrid grid, Counted mine, float[] wide, float[] positions)
    {
        var (bx, by, bz) = grid.At(mine.Block);
        var at = 3 * mine.FirstVertex;
        for (var axis = 0; axis < 3; axis++)
        {
            var step = axis == 0 ? 1 : axis == 1 ? Wide : Wide * Wide;
            for (var word = 0; word < Words; word++)
            {
                for (var bits = mine.Crossed[(axis * Words) + word]; bits != 0; bits &= bits - 1)
                {
                    var node = (64 * word) + BitOperations.TrailingZeroCount(bits);
                    int x = node % Edge, y = node / Edge % Edge, z = node / (Edge * Edge);
                    var i = Counted.WideAt(x, y, z);
                    float a = wide[i], b = wide[i + step];
                    double t = Math.Clamp(a / (a - b), Clearance, 1 - Clearance);
                    positions[at++] = (float)(((bx * (double)Edge) + x + (axis == 0 ? t : 0)) * grid.CellMm);
                    positions[at++] = (float)(((by * (double)Edge) + y + (axis == 1 ? t : 0)) * grid.CellMm);
                    positions[at++] = (float)(((bz * (double)Edge) + z + (axis == 2 ? t : 0)) * grid.CellMm);
                }
            }
        }
    }

    /// <summary>Crossed edges and triangles of one block, and where they begin in the output.</summary>
    private sealed class Counted
    {
        // Blocks after this one along x (bit 0), y (bit 1), z (bit 2); itself at 0, negative where there is none.
        private readonly int[] _after = new int[8];
        private readonly ushort[] _before = new ushort[3 * Words];

        private Counted(int block) => Block = block;

        public int Block { get; }

        /// <summary>One bit a node for the edge from it along x, then y, then z.</summary>
        public ulong[] Crossed { get; } = new ulong[3 * Words];

        public int Vertices { get; private set; }

        public int Triangles { get; private set; }

        public int FirstVertex { get; set; }

        public int FirstTriangle { get; set; }

        /// <returns>Null when the block has no values.</returns>
        public static Counted Of(SignedField field, int block, float[] wide)
        {
            if (field.Block(block).Length == 0)
                return null!;
            var counted = new Counted(block);
            counted.FindAfter(field);
            counted.Gather(field, wide);
            counted.Count(wide);
            return counted;
        }

        public static int WideAt(int x, int y, int z) => (((z * Wide) + y) * Wide) + x;

        /// <summary>Pattern of inside corners; 0 where a corner has no value.</summary>
        public static int Pattern(float[] wide, int x, int y, int z)
        {
            int pattern = 0, known = 0;
            for (var corner = 0; corner < 8; corner++)
            {
                var value = wide[WideAt(x + (corner & 1), y + (corner >> 1 & 1), z + (corner >> 2))];
                pattern |= value < 0 ? 1 << corner : 0;
                known += float.IsNaN(value) ? 0 : 1;
            }

            return known == 8 ? pattern : 0;
        }

        /// <summary>The block's values and the first layer of those after it.</summary>
        public void Gather(SignedField field, float[] wide)
        {
            for (var n = 0; n < 8; n++)
            {
                var values = _after[n] < 0 ? [] : field.Block(_after[n]);
                int ox = n & 1, oy = n >> 1 & 1, oz = n >> 2;
                int sx = ox == 0 ? Edge : 1, sy = oy == 0 ? Edge : 1, sz = oz == 0 ? Edge : 1;
                for (var z = 0; z < sz; z++)
                {
                    for (var y = 0; y < sy; y++)
                    {
                        var to = wide.AsSpan(WideAt(ox * Edge, (oy * Edge) + y, (oz * Edge) + z), sx);
                        if (values.Length == 0)
                            to.Fill(float.NaN);
                        else
                            values.AsSpan((z * Edge * Edge) + (y * Edge), sx).CopyTo(to);
                    }
                }
            }
        }

        /// <summary>Vertex on an edge of the cell at x, y, z.</summary>
        public int VertexOn(Counted[] counted, int x, int y, int z, int edge)
        {
            var axis = edge >> 2;
            var corner = CellCases.Edges[edge].From;
            x += corner & 1;
            y += corner >> 1 & 1;
            z += corner >> 2;
            var owner = this;
            var next = (x == Edge ? 1 : 0) | (y == Edge ? 2 : 0) | (z == Edge ? 4 : 0);
            if (next != 0)
                owner = counted[_after[next]];
            var node = (((z % Edge * Edge) + (y % Edge)) * Edge) + (x % Edge);
            var word = (axis * Words) + (node / 64);
            return owner.FirstVertex + owner._before[word] + BitOperations.PopCount(owner.Crossed[word] & ((1UL << (node % 64)) - 1));
        }

        private void FindAfter(SignedField field)
        {
            var (x, y, z) = field.Grid.At(Block);
            for (var n = 0; n < 8; n++)
            {
                var after = n == 0 ? Block : field.Grid.Find(x + (n & 1), y + (n >> 1 & 1), z + (n >> 2));
                _after[n] = after >= 0 && field.Block(after).Length > 0 ? after : -1;
            }
        }

        private void Count(float[] wide)
        {
            for (var node = 0; node < BlockGrid.Nodes; node++)
            {
                int x = node % Edge, y = node / Edge % Edge, z = node / (Edge * Edge);
                var at = WideAt(x, y, z);
                for (var axis = 0; axis < 3; axis++)
                {
                    float a = wide[at], b = wide[at + (axis == 0 ? 1 : axis == 1 ? Wide : Wide * Wide)];
                    // NaN is neither: an edge with an end out of reach carries nothing.
                    if ((a < 0 && b >= 0) || (a >= 0 && b < 0))
                        Crossed[(axis * Words) + (node / 64)] |= 1UL << (node % 64);
                }

                var pattern = Pattern(wide, x, y, z);
                Triangles += CellCases.TriangleCounts[pattern];
            }

            for (var word = 0; word < Crossed.Length; word++)
            {
                _before[word] = (ushort)Vertices;
                Vertices += BitOperations.PopCount(Crossed[word]);
            }
        }
    }
}
