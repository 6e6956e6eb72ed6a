using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Imaging.Segment;

/// <summary>Dilation, erosion, opening and closing of a region with a ball in millimetres.</summary>
/// <remarks>
/// Method: Serra, "Image Analysis and Mathematical Morphology", 1982, with a Euclidean ball as structuring element. The ball is
///   taken in the patient, not in samples: for every pair of slices, and every pair of rows in them, the run of columns that
///   lie within the radius follows from the index-to-patient map, so anisotropy, uneven slices and gantry tilt are exact. A run
///   is dilated 64 samples at a time by doubling shifts.
/// Border: beyond the images nothing is known, so erosion does not eat a body that leaves them, and closing only ever adds.
/// Cost: O(bit rows × rows of the ball); memory: one region beside input and output. Same bits on any thread count.
/// </remarks>
public static unsafe class Morphology
{
    /// <summary>All samples of the volume within the radius of a sample of the region.</summary>
    /// <exception cref="OperationCanceledException">Asked once per slice.</exception>
    public static Region Dilate(Region region, IndexToPatient map, double radiusMm, RunContext run)
    {
        ArgumentOutOfRangeException.ThrowIfNegative(radiusMm);
        var result = region.Like();
        var filled = FilledRows(region, run);
        Partition.For(run, region.Slices, slice =>
        {
            var reach = BallRows.Around(map, slice, radiusMm, region.Columns, region.Rows);
            var scratch = stackalloc ulong[2 * region.WordsPerRow];
            for (var row = 0; row < region.Rows; row++)
                DilateRow(region, filled, reach, row, result.RowPointer(row, slice), scratch);
        });
        return result;
    }

    /// <summary>The samples of the region farther than the radius from every sample of the volume outside it.</summary>
    public static Region Erode(Region region, IndexToPatient map, double radiusMm, RunContext run)
    {
        using var outside = Complement(region, run);
        using var grown = Dilate(outside, map, radiusMm, run);
        return Combine(region, grown, (a, b) => a & ~b, run);
    }

    /// <summary>Erosion, then dilation: removes bridges and spurs thinner than twice the radius.</summary>
    public static Region Open(Region region, IndexToPatient map, double radiusMm, RunContext run)
    {
        using var eroded = Erode(region, map, radiusMm, run);
        return Dilate(eroded, map, radiusMm, run);
    }

    /// <summary>Dilation, then erosion: closes gaps narrower than twice the radius. Contains the region.</summary>
    public static Region Close(Region region, IndexToPatient map, double radiusMm, RunContext run)
    {
        using var dilated = Dilate(region, map, radiusMm, run);
        using var closed = Erode(dilated, map, radiusMm, run);
        return Combine(region, closed, (a, b) => a | b, run);
    }

    /// <summary>The samples of the volume that are not in the region.</summary>
    public static Region Complement(Region region, RunContext run)
    {
        var result = region.Like();
        Partition.For(run, region.Slices, slice =>
        {
            for (var row = 0; row < region.Rows; row++)
            {
                ulong* from = region.RowPointer(row, slice), to = result.RowPointer(row, slice);
                for (var w = 0; w < region.WordsPerRow; w++)
                    to[w] = ~from[w];
                ClearBorder(to, region.Columns, region.WordsPerRow);
            }
        });
        return result;
    }

    /// <summary>A region made of two, word by word.</summary>
    public static Region Combine(Region a, Region b, Func<ulong, ulong, ulong> rule, RunContext run)
    {
        var result = a.Like();
        Partition.For(run, a.Slices, slice =>
        {
            for (var row = 0; row < a.Rows; row++)
            {
                ulong* left = a.RowPointer(row, slice), right = b.RowPointer(row, slice), to = result.RowPointer(row, slice);
                for (var w = 0; w < a.WordsPerRow; w++)
                    to[w] = rule(left[w], right[w]);
                ClearBorder(to, a.Columns, a.WordsPerRow);
            }
        });
        return result;
    }

    private static bool[] FilledRows(Region region, RunContext run)
    {
        var filled = new bool[region.Rows * region.Slices];
        Partition.For(run, region.Slices, slice =>
        {
            for (var row = 0; row < region.Rows; row++)
                filled[(slice * region.Rows) + row] = region.Row(row, slice).IndexOfAnyExcept(0UL) >= 0;
        });
        return filled;
    }

    private static void DilateRow(Region region, bool[] filled, List<BallRow> reach, int row, ulong* to, ulong* scratch)
    {
        foreach (var (slice, rowStep, from, through) in reach)
        {
            var source = row + rowStep;
            if ((uint)source >= (uint)region.Rows || !filled[(slice * region.Rows) + source])
                continue;
            OrRange(region.RowPointer(source, slice), to, region.WordsPerRow, from, through, scratch);
        }

        ClearBorder(to, region.Columns, region.WordsPerRow);
    }

    /// <summary>to |= source shifted by every step from … through (a step of +1 moves bits to the next column).</summary>
    internal static void OrRange(ulong* source, ulong* to, int words, int from, int through, ulong* scratch)
    {
        // Bits that leave the row are lost, so steps always lead away from the source: one sweep to each side.
        if (through >= 0)
            Widen(source, to, words, Math.Max(from, 0), through, scratch);
        if (from < 0)
            Widen(source, to, words, Math.Min(through, -1), from, scratch);
    }

    // Steps nearest … farthest, both of one sign. Doubling: each round covers twice as many steps.
    private static void Widen(ulong* source, ulong* to, int words, int nearest, int farthest, ulong* scratch)
    {
        ulong* wide = scratch, next = scratch + words;
        Shift(source, wide, words, nearest);
        int width = Math.Abs(farthest - nearest) + 1, sign = nearest < 0 ? -1 : 1;
        for (var have = 1; have < width;)
        {
            var step = Math.Min(have, width - have);
            Shift(wide, next, words, sign * step);
            for (var w = 0; w < words; w++)
                wide[w] |= next[w];
            have += step;
        }

        for (var w = 0; w < words; w++)
            to[w] |= wide[w];
    }

    private static void Shift(ulong* source, ulong* to, int words, int step)
    {
        int whole = Math.DivRem(Math.Abs(step), 64, out var bits);
        for (var w = 0; w < words; w++)
        {
            if (step >= 0)
            {
                ulong high = Word(source, w - whole, words), low = Word(source, w - whole - 1, words);
                to[w] = bits == 0 ? high : (high << bits) | (low >> (64 - bits));
            }
            else
            {
                ulong low = Word(source, w + whole, words), high = Word(source, w + whole + 1, words);
                to[w] = bits == 0 ? low : (low >> bits) | (high << (64 - bits));
            }
        }
    }

    private static ulong Word(ulong* row, int w, int words) => (uint)w < (uint)words ? row[w] : 0;

    // Bits 0 and beyond columns belong to the empty border.
    private static void ClearBorder(ulong* row, int columns, int words)
    {
        row[0] &= ~1UL;
        var last = columns + 1;
        row[last >> 6] &= (1UL << (last & 63)) - 1;
        for (var w = (last >> 6) + 1; w < words; w++)
            row[w] = 0;
    }

    /// <summary>Columns from … through, rowStep rows on in slice, lie within the radius.</summary>
    private readonly record struct BallRow(int Slice, int RowStep, int From, int Through);

    private static class BallRows
    {
        public static List<BallRow> Around(IndexToPatient map, int slice, double radiusMm, int columns, int rows)
        {
            var reach = new List<BallRow>();
            var normal = map.Normal;
            var here = map.SliceOriginsMm[slice];
            for (var other = 0; other < map.Slices; other++)
            {
                // From a sample of `other` at (i, j) to one of `slice` at (i + di, j - rowStep).
                var between = here - map.SliceOriginsMm[other];
                if (Math.Abs(Vec3.Dot(normal, between)) > radiusMm)
                    continue;
                for (var step = -rows; step <= rows; step++)
                {
                    if (Columns(map.ColumnStepMm, between - (map.RowStepMm * step), radiusMm, columns) is var (from, through))
                        reach.Add(new(other, step, from, through));
                }
            }

            return reach;
        }

        // Whole steps s with |offset + s·column| ≤ radius: between the roots of a quadratic.
        private static (int From, int Through)? Columns(Vec3 column, Vec3 offset, double radiusMm, int columns)
        {
            double a = column.LengthSquared, b = Vec3.Dot(column, offset), c = offset.LengthSquared - (radiusMm * radiusMm);
            var root = (b * b) - (a * c);
            if (root < 0)
                return null;
            // A hair of tolerance, so that a neighbour at exactly the radius counts whatever the rounding.
            var half = Math.Sqrt(root) + (1e-9 * Math.Sqrt(a) * Math.Max(1, radiusMm));
            var from = Math.Max(-columns, (int)Math.Ceiling((-b - half) / a));
            var through = Math.Min(columns, (int)Math.Floor((-b + half) / a));
            return from <= through ? (from, through) : null;
        }
    }
}
