using OpenCvSharp;

namespace AnatomyPrep.Imaging.Volumes;

/// <summary>Gaussian mean of int16 samples, columns and rows on their own; the outermost samples repeat beyond the border.</summary>
/// <remarks>
/// Method: the discrete Gaussian e^(-t) I_n(t), t = σ² in samples²: Lindeberg, "Scale-space for discrete signals", IEEE
/// Trans. Pattern Analysis and Machine Intelligence 12(3), 1990. Its variance is σ² exactly, also where σ is below one
/// sample, where a sampled bell curve loses most of its width; so millimetres stay true on coarse pixels.
/// Weights are whole multiples of 2^-18 that sum to 1. A sum over columns is then a multiple of 2^-18 and one over rows
/// of 2^-36, both below 2^15: 51 bits, so doubles hold them exactly in any order, and OpenCV's vector units give the
/// same bytes on every processor. The result is rounded once, to the nearest HU, ties to even.
/// Cost: O(rows × columns × (kernel columns + kernel rows)); scratch 16 bytes a sample of one slice a thread.
/// </remarks>
internal static unsafe class GaussianFilter
{
    private const int WeightBits = 18;

    /// <summary>Weights of the samples -n … n, where n is the last whose weight is not 0 after rounding.</summary>
    internal static double[] Kernel(double sigmaSamples)
    {
        var bell = Bell(sigmaSamples * sigmaSamples);
        const double One = 1 << WeightBits;
        var half = 0;
        while (half + 1 < bell.Length && Math.Round(bell[half + 1] * One) > 0)
            half++;
        var kernel = new double[(2 * half) + 1];
        var middle = One;
        for (var n = 1; n <= half; n++)
        {
            var weight = Math.Round(bell[n] * One);
            kernel[half - n] = kernel[half + n] = weight / One;
            middle -= 2 * weight;
        }

        kernel[half] = middle / One;
        return kernel;
    }

    internal static void Apply(short* from, short* to, int columns, int rows, double[] alongColumns, double[] alongRows)
    {
        using var source = Mat.FromPixelData(rows, columns, MatType.CV_16SC1, (nint)from);
        using var result = Mat.FromPixelData(rows, columns, MatType.CV_16SC1, (nint)to);
        using var x = Mat.FromArray(alongColumns);
        using var y = Mat.FromArray(alongRows);
        using var exact = new Mat();
        Cv2.SepFilter2D(source, exact, MatType.CV_64F, x, y, borderType: BorderTypes.Replicate);
        exact.ConvertTo(result, MatType.CV_16S);
    }

    /// <summary>e^(-t) I_n(t) for n = 0, 1, … by Miller's backward recurrence; the sum over all n being 1 sets the scale.</summary>
    private static double[] Bell(double t)
    {
        // Ten standard deviations and more: what is cut off is below 1e-20, and the start is far behind what is used.
        var last = 16 + (int)(10 * Math.Sqrt(t));
        var bell = new double[last + 1];
        if (t < 1e-9)
        {
            bell[0] = 1;
            return bell;
        }

        double next = 0, current = 1e-280, sum = 0;
        for (var n = last; n >= 0; n--)
        {
            bell[n] = current;
            sum += n == 0 ? current : 2 * current;
            (next, current) = (current, next + (2 * n / t * current));
            if (current > 1e200)
                Rescale(bell.AsSpan(n), ref next, ref current, ref sum);
        }

        for (var n = 0; n <= last; n++)
            bell[n] /= sum;
        return bell;
    }

    private static void Rescale(Span<double> bell, ref double next, ref double current, ref double sum)
    {
        const double Down = 1e-200;
        foreach (ref var value in bell)
            value *= Down;
        next *= Down;
        current *= Down;
        sum *= Down;
    }
}
