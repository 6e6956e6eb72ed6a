using System.Numerics;
using System.Runtime.CompilerServices;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Meshing.Surface;

/// <summary>The boundary of a region as a surface, each vertex placed between samples by the grey values.</summary>
/// <remarks>
/// Method: Schroeder, Maynard, Geveci, "Flying Edges: A High-Performance Scalable Isocontouring Algorithm", IEEE LDAV 2015:
///   count along edges, prefix sum, fill without locks. Differs: (1) inside is one bit a sample, so edges, cells and ranks
///   are found 64 at a time with shifts and population counts; (2) a sample equal to the level is inside; (3) ambiguous
///   faces follow one rule (<see cref="CellCases"/>); (4) the region has an empty border, so the surface closes at the
///   edge of the images, and those triangles are marked cut.
/// Shapes: grey int16 HU [slices][rows][columns]; region of the same size; vertices float3 in patient mm, triangles int3.
/// Where a vertex lies: between an inside sample a and an outside sample b, at the lower level when b is below it (with
///   <see cref="Region.Levels"/>, where value minus local level is zero), at the upper level when b is above it; half way when
///   the grey values do not bracket the level; at the border, on the outermost sample.
/// Origin: measured when all three vertices were placed by grey values. Cut at the border of the images, and where a vertex
///   lies between two samples of the same material (b in the window but left out). Filled where neither is the case: a was
///   taken in although its value lies outside the window. Of several, cut goes first.
/// Gives: a closed, oriented, outward 2-manifold for any region. A vertex is kept <see cref="ClearanceMm"/> away from
///   samples, so that a sample exactly at the level makes no zero-area triangle and no two vertices coincide in float32.
/// Vertex error for a smooth boundary: docs/methods/surface.md, eq. 1.
/// Cost: four passes over the bits, one random read of two samples a vertex. Memory: 12 bytes a row and 1 byte a vertex + the output.
/// Same bytes on any thread count: pieces are slices, results are placed by prefix sums.
/// </remarks>
public static unsafe class FlyingEdges
{
    /// <summary>Vertices keep at least this distance, along their grid edge, from either sample.</summary>
    public const double ClearanceMm = 0.005;

    /// <exception cref="OperationCanceledException">Asked once per slice.</exception>
    /// <exception cref="Core.Findings.BadInputException">More than 2^31 - 1 vertices or triangle corners.</exception>
    public static ExtractedSurface Extract(Volume volume, Region region, RunContext run)
    {
        if (region.Columns != volume.Columns || region.Rows != volume.Rows || region.Slices != volume.Slices)
            throw new ArgumentException("Region and volume differ in size.", nameof(region));
        var rows = new RowCounts(region, run);
        var originMm = CenterMm(volume);
        var positions = GC.AllocateUninitializedArray<float>(checked(3 * rows.Vertices));
        var triangles = GC.AllocateUninitializedArray<int>(checked(3 * rows.Triangles));
        var origins = GC.AllocateUninitializedArray<Origin>(rows.Triangles);
        var placedBy = GC.AllocateUninitializedArray<Origin>(rows.Vertices);
        var kept = new long[region.Slices + 2];
        var allMeasured = new bool[region.Slices + 2];
        var borderMm2 = new double[region.Slices + 1];
        Partition.For(run, kept.Length, k =>
        {
            (kept[k], allMeasured[k]) = PlaceVertices(volume, region, rows, k - 1, originMm, positions, placedBy);
            run.Report("surface", "placing vertices", (double)k / kept.Length);
        });
        // Only then: a triangle looks at vertices of the next slice too.
        Partition.For(run, borderMm2.Length, k =>
        {
            // Most slices need not ask three vertices of every triangle what placed them.
            var by = allMeasured[k] && allMeasured[k + 1] ? null : placedBy;
            borderMm2[k] = JoinTriangles(region, rows, k - 1, positions, by, triangles, origins);
            run.Report("surface", "joining triangles", (double)k / borderMm2.Length);
        });
        return new(new Mesh(originMm, positions, triangles, origins), kept.Sum(), borderMm2.Sum());
    }

    // Whole millimetres, so that adding the origin back costs as little precision as possible.
    private static Vec3 CenterMm(Volume volume)
    {
        var center = volume.Map.Map((volume.Columns - 1) / 2.0, (volume.Rows - 1) / 2.0, (volume.Slices - 1) / 2.0);
        return new(Math.Round(center.X), Math.Round(center.Y), Math.Round(center.Z));
    }

    /// <summary>Where every bit row's vertices (x, then y, then z edges) and triangles begin.</summary>
    private sealed class RowCounts
    {
        private readonly int _rowsPerSlice;
        private readonly int[] _x;
        private readonly int[] _y;
        private readonly int[] _z;
        private readonly int[] _triangles;

        public RowCounts(Region region, RunContext run)
        {
            _rowsPerSlice = region.Rows + 2;
            var count = checked(_rowsPerSlice * (region.Slices + 2));
            _x = new int[count];
            _y = new int[count];
            _z = new int[count];
            _triangles = new int[count];
            Partition.For(run, region.Slices + 2, k => Count(region, k - 1));
            (Vertices, Triangles) = PrefixSums();
        }

        public int Vertices { get; }

        public int Triangles { get; }

        public int FirstX(int row, int slice) => _x[Index(row, slice)];

        public int FirstY(int row, int slice) => _y[Index(row, slice)];

        public int FirstZ(int row, int slice) => _z[Index(row, slice)];

        public int FirstTriangle(int row, int slice) => _triangles[Index(row, slice)];

        public bool HasVertices(int row, int slice)
        {
            var at = Index(row, slice);
            return _x[at] != (at + 1 < _x.Length ? _x[at + 1] : Vertices);
        }

        public bool HasTriangles(int row, int slice)
        {
            var at = Index(row, slice);
            return _triangles[at] != (at + 1 < _triangles.Length ? _triangles[at + 1] : Triangles);
        }

        private int Index(int row, int slice) => ((slice + 1) * _rowsPerSlice) + row + 1;

        private void Count(Region region, int slice)
        {
            var words = region.WordsPerRow;
            for (var row = -1; row <= region.Rows; row++)
            {
                var here = region.RowPointer(row, slice);
                var nextRow = row < region.Rows ? region.RowPointer(row + 1, slice) : null;
                var nextSlice = slice < region.Slices ? region.RowPointer(row, slice + 1) : null;
                int x = 0, y = 0, z = 0;
                for (var w = 0; w < words; w++)
                {
                    x += BitOperations.PopCount(XCrossings(here, w, words));
                    if (nextRow != null)
                        y += BitOperations.PopCount(here[w] ^ nextRow[w]);
                    if (nextSlice != null)
                        z += BitOperations.PopCount(here[w] ^ nextSlice[w]);
                }

                var at = Index(row, slice);
                _x[at] = x;
                _y[at] = y;
                _z[at] = z;
                if (nextRow != null && nextSlice != null)
                    _triangles[at] = CountTriangles(here, nextRow, nextSlice, region.RowPointer(row + 1, slice + 1), words);
            }
        }

        private static int CountTriangles(ulong* b00, ulong* b10, ulong* b01, ulong* b11, int words)
        {
            var count = 0;
            for (var w = 0; w < words; w++)
            {
                for (var active = ActiveCells(b00, b10, b01, b11, w, words); active != 0; active &= active - 1)
                    count += CellCases.TriangleCounts[Pattern(b00, b10, b01, b11, w, BitOperations.TrailingZeroCount(active), words)];
            }

            return count;
        }

        private (int Vertices, int Triangles) PrefixSums()
        {
            long vertices = 0, triangles = 0;
            for (var r = 0; r < _x.Length; r++)
            {
                int x = _x[r], y = _y[r], z = _z[r], t = _triangles[r];
                if (3 * (vertices + x + y + z) > int.MaxValue || 3 * (triangles + t) > int.MaxValue)
                    throw new Core.Findings.BadInputException("surface", "triangles", "more than 715 million", "Crop the volume or smooth it first: it is mostly noise at this threshold.");
                _x[r] = (int)vertices;
                _y[r] = (int)vertices + x;
                _z[r] = (int)vertices + x + y;
                _triangles[r] = (int)triangles;
                vertices += x + y + z;
                triangles += t;
            }

            return ((int)vertices, (int)triangles);
        }
    }

    // Bit x: samples x and x + 1 of the row differ.
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static ulong XCrossings(ulong* row, int w, int words) => row[w] ^ Shifted(row, w, words);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static ulong Shifted(ulong* row, int w, int words) => (row[w] >> 1) | (w + 1 < words ? row[w + 1] << 63 : 0);

    // Bit x: the cell from x to x + 1 between four rows has both inside and outside corners.
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static ulong ActiveCells(ulong* b00, ulong* b10, ulong* b01, ulong* b11, int w, int words)
    {
        var any = b00[w] | b10[w] | b01[w] | b11[w];
        var all = b00[w] & b10[w] & b01[w] & b11[w];
        ulong nextAny = 0, nextAll = 0;
        if (w + 1 < words)
        {
            nextAny = (b00[w + 1] | b10[w + 1] | b01[w + 1] | b11[w + 1]) << 63;
            nextAll = (b00[w + 1] & b10[w + 1] & b01[w + 1] & b11[w + 1]) << 63;
        }

        return (any | (any >> 1) | nextAny) & ~(all & ((all >> 1) | nextAll));
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static int Pattern(ulong* b00, ulong* b10, ulong* b01, ulong* b11, int w, int bit, int words) =>
        Pair(b00, w, bit, words) | (Pair(b10, w, bit, words) << 2) | (Pair(b01, w, bit, words) << 4) | (Pair(b11, w, bit, words) << 6);

    // Bits x and x + 1 of a row.
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static int Pair(ulong* row, int w, int bit, int words)
    {
        var low = row[w] >> bit;
        if (bit == 63)
            low |= (w + 1 < words ? row[w + 1] : 0) << 1;
        return (int)(low & 3);
    }

    /// <summary>Writes the vertices of one slice of bit rows; returns how many were moved to keep their clearance, and whether grey values placed them all.</summary>
    private static (long Moved, bool AllMeasured) PlaceVertices(Volume volume, Region region, RowCounts rows, int slice, Vec3 originMm, float[] positions, Origin[] placedBy)
    {
        var words = region.WordsPerRow;
        fixed (float* position = positions)
        fixed (Origin* by = placedBy)
        {
            var placer = new VertexPlacer(volume, region, originMm, slice, position, by);
            for (var row = -1; row <= region.Rows; row++)
            {
                if (!rows.HasVertices(row, slice))
                    continue;
                var here = region.RowPointer(row, slice);
                placer.StartRow(row, rows.FirstX(row, slice));
                for (var w = 0; w < words; w++)
                    placer.PlaceAlongX(XCrossings(here, w, words), here[w], (64 * w) - 1);
                if (row < region.Rows)
                {
                    var next = region.RowPointer(row + 1, slice);
                    for (var w = 0; w < words; w++)
                        placer.PlaceAlongY(here[w] ^ next[w], here[w], (64 * w) - 1);
                }

                if (slice < region.Slices)
                {
                    var next = region.RowPointer(row, slice + 1);
                    for (var w = 0; w < words; w++)
                        placer.PlaceAlongZ(here[w] ^ next[w], here[w], (64 * w) - 1);
                }
            }

            return (placer.Moved, placer.AllMeasured);
        }
    }

    /// <summary>Writes the triangles of the cells between slice and slice + 1; returns the area of those at the border of the images.</summary>
    private static double JoinTriangles(Region region, RowCounts rows, int slice, float[] positions, Origin[]? placedBy, int[] triangles, Origin[] origins)
    {
        fixed (Origin* by = placedBy, origin = origins)
        fixed (int* corner = triangles)
            return JoinTriangles(region, rows, slice, positions, by, corner, origin);
    }

    private static double JoinTriangles(Region region, RowCounts rows, int slice, float[] positions, Origin* placedBy, int* triangles, Origin* origins)
    {
        var borderMm2 = 0.0;
        var words = region.WordsPerRow;
        var borderSlice = slice < 0 || slice == region.Slices - 1;
        var ranks = stackalloc int[12];
        for (var row = -1; row < region.Rows; row++)
        {
            if (!rows.HasTriangles(row, slice))
                continue;
            var at = rows.FirstTriangle(row, slice);
            ulong* b00 = region.RowPointer(row, slice), b10 = region.RowPointer(row + 1, slice);
            ulong* b01 = region.RowPointer(row, slice + 1), b11 = region.RowPointer(row + 1, slice + 1);
            var borderRow = borderSlice || row < 0 || row == region.Rows - 1;

            // Running first vertex of each of the eight edge rows around the cell row, advanced word by word.
            int x00 = rows.FirstX(row, slice), x10 = rows.FirstX(row + 1, slice), x01 = rows.FirstX(row, slice + 1), x11 = rows.FirstX(row + 1, slice + 1);
            int y0 = rows.FirstY(row, slice), y1 = rows.FirstY(row, slice + 1);
            int z0 = rows.FirstZ(row, slice), z1 = rows.FirstZ(row + 1, slice);
            for (var w = 0; w < words; w++)
            {
                var active = ActiveCells(b00, b10, b01, b11, w, words);
                // Every crossed edge of the word belongs to an active cell of it, so none is passed over.
                if (active == 0)
                    continue;
                ulong cx00 = XCrossings(b00, w, words), cx10 = XCrossings(b10, w, words), cx01 = XCrossings(b01, w, words), cx11 = XCrossings(b11, w, words);
                ulong cy0 = b00[w] ^ b10[w], cy1 = b01[w] ^ b11[w], cz0 = b00[w] ^ b01[w], cz1 = b10[w] ^ b11[w];
                for (; active != 0; active &= active - 1)
                {
                    var bit = BitOperations.TrailingZeroCount(active);
                    var below = (1UL << bit) - 1;
                    var through = below | (1UL << bit);
                    ranks[0] = x00 + BitOperations.PopCount(cx00 & below);
                    ranks[1] = x10 + BitOperations.PopCount(cx10 & below);
                    ranks[2] = x01 + BitOperations.PopCount(cx01 & below);
                    ranks[3] = x11 + BitOperations.PopCount(cx11 & below);
                    ranks[4] = y0 + BitOperations.PopCount(cy0 & below);
                    ranks[5] = y0 + BitOperations.PopCount(cy0 & through);
                    ranks[6] = y1 + BitOperations.PopCount(cy1 & below);
                    ranks[7] = y1 + BitOperations.PopCount(cy1 & through);
                    ranks[8] = z0 + BitOperations.PopCount(cz0 & below);
                    ranks[9] = z0 + BitOperations.PopCount(cz0 & through);
                    ranks[10] = z1 + BitOperations.PopCount(cz1 & below);
                    ranks[11] = z1 + BitOperations.PopCount(cz1 & through);
                    var pattern = Pattern(b00, b10, b01, b11, w, bit, words);
                    var x = (64 * w) + bit;
                    var atBorder = borderRow || x == 0 || x == region.Columns;
                    ref var edge = ref CellCases.FirstEdge(pattern);
                    for (var end = at + CellCases.TriangleCounts[pattern]; at < end; at++, edge = ref Unsafe.Add(ref edge, 3))
                    {
                        int a = ranks[edge], b = ranks[Unsafe.Add(ref edge, 1)], c = ranks[Unsafe.Add(ref edge, 2)];
                        triangles[3L * at] = a;
                        triangles[(3L * at) + 1] = b;
                        triangles[(3L * at) + 2] = c;
                        origins[at] = atBorder ? Origin.Cut : placedBy == null ? Origin.Measured : Strongest(placedBy[a], placedBy[b], placedBy[c]);
                        if (atBorder)
                            borderMm2 += Area(positions, a, b, c);
                    }
                }

                x00 += BitOperations.PopCount(cx00);
                x10 += BitOperations.PopCount(cx10);
                x01 += BitOperations.PopCount(cx01);
                x11 += BitOperations.PopCount(cx11);
                y0 += BitOperations.PopCount(cy0);
                y1 += BitOperations.PopCount(cy1);
                z0 += BitOperations.PopCount(cz0);
                z1 += BitOperations.PopCount(cz1);
            }
        }

        return borderMm2;
    }

    // Cut before filled before measured, which is the order of their numbers.
    private static Origin Strongest(Origin a, Origin b, Origin c) => (Origin)Math.Max((byte)a, Math.Max((byte)b, (byte)c));

    private static double Area(float[] positions, int a, int b, int c)
    {
        Vec3 At(int v) => new(positions[3 * v], positions[(3 * v) + 1], positions[(3 * v) + 2]);
        return Vec3.Cross(At(b) - At(a), At(c) - At(a)).Length / 2;
    }
}

/// <summary>A surface.</summary>
/// <param name="VerticesKeptClear">How many vertices were moved by at most the clearance to keep off a sample.</param>
/// <param name="BorderMm2">Area of the triangles that close the surface at the border of the images.</param>
public sealed record ExtractedSurface(Mesh Mesh, long VerticesKeptClear, double BorderMm2);
