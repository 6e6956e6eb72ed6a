using System.Runtime.Intrinsics;
using System.Runtime.Intrinsics.X86;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Imaging.Volumes;

/// <summary>Mean over near and similar int16 samples; the outermost samples repeat beyond the border.</summary>
/// <remarks>
/// Method: Tomasi, Manduchi, "Bilateral filtering for gray and color images", ICCV 1998. Weight of a sample at distance d
/// whose value differs by Δ: exp(-d²/2σ²) · exp(-Δ²/2σHu²), over the ellipse d ≤ 3σ. Written here rather than taken from
/// OpenCV, whose version knows one spacing for both directions and 8 bits or float only, and whose float sums differ
/// between processors. Differs: the two factors are rounded to whole 1/2^10 and 1/2^14, so the sums are whole numbers that
/// doubles hold; the mean difference in HU is added to the middle value and rounded once, half away from 0.
/// SIMD: lanes are four neighbouring columns, each doing the plain loop's operations in its order (nothing is fused), so
/// both give the same bytes; the columns left over at the end of a row go through the plain loop.
/// Cost: O(samples × ellipse); scratch one padded slice a thread.
/// </remarks>
internal sealed unsafe class BilateralFilter
{
    private const double ReachSigmas = 3;
    private const double NearOne = 1 << 10;
    private const double SimilarOne = 1 << 14;

    private readonly (int Column, int Row)[] _near;
    private readonly double[] _nearWeights; // whole numbers, by sample of the ellipse
    private readonly double[] _similar; // whole numbers, by |Δ|; ends with a 0 that stands for all larger ones

    internal BilateralFilter(double sigmaColumns, double sigmaRows, double sigmaHu)
    {
        HalfColumns = (int)(ReachSigmas * sigmaColumns);
        HalfRows = (int)(ReachSigmas * sigmaRows);
        (_near, _nearWeights) = Near(sigmaColumns, sigmaRows);
        _similar = Similar(sigmaHu);
    }

    internal int HalfColumns { get; }

    internal int HalfRows { get; }

    internal void Apply(short* from, short* to, int columns, int rows) => Apply(from, to, columns, rows, Avx2.IsSupported);

    internal void Apply(short* from, short* to, int columns, int rows, bool useVectors)
    {
        var width = columns + (2 * HalfColumns);
        using var padded = Pad(from, columns, rows, width);
        var offsets = new int[_near.Length];
        for (var n = 0; n < _near.Length; n++)
            offsets[n] = checked((_near[n].Row * width) + _near[n].Column);
        fixed (int* offset = offsets)
        fixed (double* near = _nearWeights, similar = _similar)
        {
            var window = new Window(offset, near, offsets.Length, similar, _similar.Length - 1);
            for (var row = 0; row < rows; row++)
            {
                var at = padded.Pointer + ((long)(row + HalfRows) * width) + HalfColumns;
                var line = to + ((long)row * columns);
                var column = 0;
                if (useVectors)
                    for (; column + Vector256<double>.Count <= columns; column += Vector256<double>.Count)
                        window.FourMeans(at + column, line + column);
                for (; column < columns; column++)
                    line[column] = window.Mean(at + column);
            }
        }
    }

    private ((int Column, int Row)[] Near, double[] Weights) Near(double sigmaColumns, double sigmaRows)
    {
        var near = new List<(int, int)>();
        var weights = new List<double>();
        for (var row = -HalfRows; row <= HalfRows; row++)
        {
            for (var column = -HalfColumns; column <= HalfColumns; column++)
            {
                double x = column / sigmaColumns, y = row / sigmaRows;
                var squared = (x * x) + (y * y);
                if (squared > ReachSigmas * ReachSigmas)
                    continue;
                near.Add((column, row));
                weights.Add(Math.Round(NearOne * Math.Exp(-squared / 2)));
            }
        }

        return ([.. near], [.. weights]);
    }

    private static double[] Similar(double sigmaHu)
    {
        var similar = new List<double>();
        for (var difference = 0; difference <= ushort.MaxValue; difference++)
        {
            var weight = Math.Round(SimilarOne * Math.Exp(-(difference / sigmaHu) * (difference / sigmaHu) / 2));
            similar.Add(weight);
            if (weight == 0)
                break;
        }

        return [.. similar];
    }

    private NativeBuffer<short> Pad(short* from, int columns, int rows, int width)
    {
        var padded = new NativeBuffer<short>((long)width * (rows + (2L * HalfRows)));
        for (var row = -HalfRows; row < rows + HalfRows; row++)
        {
            var source = new ReadOnlySpan<short>(from + ((long)Math.Clamp(row, 0, rows - 1) * columns), columns);
            var line = padded.Span((row + HalfRows) * (long)width, width);
            line[..HalfColumns].Fill(source[0]);
            source.CopyTo(line[HalfColumns..]);
            line[(HalfColumns + columns)..].Fill(source[^1]);
        }

        return padded;
    }

    /// <summary>The weighted mean around one sample, or four neighbours.</summary>
    private readonly struct Window(int* offsets, double* near, int count, double* similar, int last)
    {
        public short Mean(short* at)
        {
            int middle = *at;
            double sum = 0, weight = 0;
            for (var n = 0; n < count; n++)
            {
                var difference = at[offsets[n]] - middle;
                var w = near[n] * similar[Math.Min(Math.Abs(difference), last)];
                sum += w * difference;
                weight += w;
            }

            return Rounded(middle, sum, weight);
        }

        public void FourMeans(short* at, short* to)
        {
            var middle = Four(at);
            var end = Vector128.Create(last);
            Vector256<double> sum = Vector256<double>.Zero, weight = Vector256<double>.Zero;
            for (var n = 0; n < count; n++)
            {
                var difference = Four(at + offsets[n]) - middle;
                var w = Avx2.GatherVector256(similar, Vector128.Min(Vector128.Abs(difference), end), sizeof(double)) * Vector256.Create(near[n]);
                sum += w * Avx.ConvertToVector256Double(difference);
                weight += w;
            }

            for (var lane = 0; lane < Vector256<double>.Count; lane++)
                to[lane] = Rounded(middle[lane], sum[lane], weight[lane]);
        }

        private static Vector128<int> Four(short* at) => Sse41.ConvertToVector128Int32(Vector128.CreateScalarUnsafe(*(long*)at).AsInt16());

        // The middle sample's own weight keeps the sum of weights above 0.
        private static short Rounded(int middle, double sum, double weight) =>
            (short)(middle + (int)Math.Round(sum / weight, MidpointRounding.AwayFromZero));
    }
}
