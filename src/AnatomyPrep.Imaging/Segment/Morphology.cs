using System.Runtime.InteropServices;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Imaging.Segment;

/// <summary>Dilation, erosion, opening and closing of a region with a ball in millimetres.</summary>
/// <remarks>
/// Method: Serra, "Image Analysis and Mathematical Morphology", 1982, with a Euclidean ball as structuring element. The ball is
///   taken in the patient, not in samples: for every pair of slices, and every pair of rows in them, the run of columns that
///   lie within the radius follows from the index-to-patient map, so anisotropy, uneven slices and gantry tilt are exact. A row
///   is widened by a run of columns 256 samples at a time by doubling shifts, once for all rows of the ball with that run.
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
            var reach = CollectionsMarshal.AsSpan(BallRows.Around(map, slice, radiusMm, region.Columns, region.Rows));
            using var wide = new WideRow(region.WordsPerRow, BallRows.Farthest(reach));
            for (int at = 0, next; at < reach.Length; at = next)
            {
                for (next = at + 1; next < reach.Length && SameRange(reach[at], reach[next]);)
                    next++;
                OrWidened(region, filled, reach[at..next], slice, result, wide);
            }

            for (var row = 0; row < region.Rows; row++)
                ClearBorder(result.RowPointer(row, slice), region.Columns, region.WordsPerRow);
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

    // Every row of the other slice, widened by from … through (a step of +1 moves bits to the next column), or'ed in at its steps.
    private static void OrWidened(Region region, bool[] filled, ReadOnlySpan<BallRow> rowsOfRange, int slice, Region result, WideRow wide)
    {
        var (other, from, through) = (rowsOfRange[0].Slice, rowsOfRange[0].From, rowsOfRange[0].Through);
        for (var source = 0; source < region.Rows; source++)
        {
            if (!filled[(other * region.Rows) + source])
                continue;
            wide.Set(region.RowPointer(source, other), from, through);
            foreach (var reach in rowsOfRange)
            {
                var row = source - reach.RowStep;
                if ((uint)row < (uint)region.Rows)
                    wide.OrInto(result.RowPointer(row, slice));
            }
        }
    }

    private static bool SameRange(BallRow a, BallRow b) => (a.Slice, a.From, a.Through) == (b.Slice, b.From, b.Through);

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

            // A row widened once serves all steps of one range.
            reach.Sort((a, b) => (a.Slice, a.From, a.Through, a.RowStep).CompareTo((b.Slice, b.From, b.Through, b.RowStep)));
            return reach;
        }

        public static int Farthest(ReadOnlySpan<BallRow> reach)
        {
            var farthest = 0;
            foreach (var row in reach)
                farthest = Math.Max(farthest, Math.Max(Math.Abs(row.From), Math.Abs(row.Through)));
            return farthest;
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
