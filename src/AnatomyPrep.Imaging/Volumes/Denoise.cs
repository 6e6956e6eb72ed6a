using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Acquire;
using OpenCvSharp;

namespace AnatomyPrep.Imaging.Volumes;

/// <summary>Less noise, slice by slice: median, Gaussian or edge-keeping. Sizes are millimetres in the patient.</summary>
/// <remarks>
/// Gives a new volume with the same map; the input is untouched. Every filter works on whole HU without rescaling, gives
/// values between the smallest and the largest of its window (so nothing wraps or clips), and repeats the outermost
/// samples beyond the border. Columns and rows may have different spacing: the kernel is set for each on its own, and
/// the effect says what it was in samples. Slices never mix, so tilt and uneven spacing change nothing.
/// Same bytes on any machine and any thread count: slices are the pieces, and all sums are exact (integers, or doubles
/// that hold them). Peak memory: one more volume, and a few slices for each thread.
/// Derivations: docs/methods/denoise.md.
/// </remarks>
public static class Denoise
{
    /// <summary>Largest radius or sigma: beyond it a filter removes anatomy, and the sums would no longer be exact.</summary>
    public const double LargestSizeMm = 5;

    private const string Step = "denoise";

    static Denoise() => Cv2.SetNumThreads(1); // Slices are spread by Partition; threads inside a slice would only compete.

    /// <summary>Filters rows × columns samples; <paramref name="to"/> does not overlap <paramref name="from"/>.</summary>
    private unsafe delegate void SliceFilter(short* from, short* to, int columns, int rows);

    /// <summary>Middle value of a box that reaches <paramref name="radiusMm"/> to every side, rounded to whole samples.</summary>
    /// <exception cref="OperationCanceledException">Asked once per slice.</exception>
    public static unsafe VolumeResult Median(Volume source, double radiusMm, RunContext run)
    {
        RequireSize(radiusMm, nameof(radiusMm));
        var halfColumns = WholeSamples(radiusMm / source.Map.ColumnStepMm.Length);
        var halfRows = WholeSamples(radiusMm / source.Map.RowStepMm.Length);
        return PerSlice(source, halfColumns, halfRows, nameof(radiusMm), radiusMm, run, (from, to, columns, rows) =>
            MedianFilter.Apply(from, to, columns, rows, halfColumns, halfRows));
    }

    /// <summary>Gaussian mean whose standard deviation is <paramref name="sigmaMm"/> along columns and rows.</summary>
    /// <exception cref="OperationCanceledException">Asked once per slice.</exception>
    public static unsafe VolumeResult Gaussian(Volume source, double sigmaMm, RunContext run)
    {
        RequireSize(sigmaMm, nameof(sigmaMm));
        var alongColumns = GaussianFilter.Kernel(sigmaMm / source.Map.ColumnStepMm.Length);
        var alongRows = GaussianFilter.Kernel(sigmaMm / source.Map.RowStepMm.Length);
        return PerSlice(source, alongColumns.Length / 2, alongRows.Length / 2, nameof(sigmaMm), sigmaMm, run, (from, to, columns, rows) =>
            GaussianFilter.Apply(from, to, columns, rows, alongColumns, alongRows));
    }

    /// <summary>Gaussian mean over samples that also resemble the middle one: weights fall with distance and with the difference in HU.</summary>
    /// <exception cref="OperationCanceledException">Asked once per slice.</exception>
    public static unsafe VolumeResult Bilateral(Volume source, double sigmaMm, double sigmaHu, RunContext run)
    {
        RequireSize(sigmaMm, nameof(sigmaMm));
        if (!double.IsFinite(sigmaHu) || sigmaHu <= 0)
            throw new ArgumentOutOfRangeException(nameof(sigmaHu), sigmaHu, "The spread in HU is a positive number.");
        var filter = new BilateralFilter(sigmaMm / source.Map.ColumnStepMm.Length, sigmaMm / source.Map.RowStepMm.Length, sigmaHu);
        return PerSlice(source, filter.HalfColumns, filter.HalfRows, nameof(sigmaMm), sigmaMm, run, filter.Apply);
    }

    private static unsafe VolumeResult PerSlice(
        Volume source, int halfColumns, int halfRows, string parameter, double sizeMm, RunContext run, SliceFilter filter)
    {
        run.Memory.Require(Step, source.Count * sizeof(short), "Crop the volume first, leave this step out, or raise the memory limit.");
        var samples = SampleMemory.For(source.Count);
        try
        {
            var sliceLength = (long)source.Columns * source.Rows;
            var changes = new SliceChange[source.Slices];
            var done = 0;
            Partition.For(run, source.Slices, k =>
            {
                var from = source.Samples + (k * sliceLength);
                var to = samples.Pointer + (k * sliceLength);
                filter(from, to, source.Columns, source.Rows);
                changes[k] = SliceChange.Between(from, to, sliceLength);
                run.Report(Step, "filtering slices", Interlocked.Increment(ref done) / (double)source.Slices);
            });
            GC.KeepAlive(source);
            var columns = (2 * halfColumns) + 1;
            var rows = (2 * halfRows) + 1;
            return new(
                new Volume(source.Columns, source.Rows, samples, source.Map),
                Effect(changes, source.Count, columns, rows),
                columns == 1 && rows == 1 ? [TooFine(source, parameter, sizeMm)] : []);
        }
        catch
        {
            samples.Dispose();
            throw;
        }
    }

    private static StepEffect Effect(SliceChange[] changes, long count, int kernelColumns, int kernelRows)
    {
        var total = default(SliceChange);
        foreach (var change in changes)
            total = total.And(change);
        return new StepEffect(Measures: new Dictionary<string, double>
        {
            ["meanChangeHu"] = total.SumHu / (double)count,
            ["meanAbsoluteChangeHu"] = total.SumAbsoluteHu / (double)count,
            ["largestChangeHu"] = total.LargestHu,
            ["kernelColumns"] = kernelColumns,
            ["kernelRows"] = kernelRows,
        });
    }

    private static Finding TooFine(Volume source, string parameter, double sizeMm)
    {
        var spacing = Math.Min(source.Map.ColumnStepMm.Length, source.Map.RowStepMm.Length);
        return new(
            FindingCodes.DenoiseWithoutEffect,
            Severity.Note,
            string.Create(CultureInfo.InvariantCulture, $"Denoising changed nothing: {parameter} {sizeMm:0.###} is too small for samples {spacing:0.###} mm apart."),
            $"Leave the step out, or give a larger {parameter}.");
    }

    private static int WholeSamples(double samples) => checked((int)Math.Round(samples, MidpointRounding.AwayFromZero));

    private static void RequireSize(double sizeMm, string name)
    {
        if (!(sizeMm > 0 && sizeMm <= LargestSizeMm))
            throw new ArgumentOutOfRangeException(name, sizeMm, FormattableString.Invariant($"A filter's size is above 0 and at most {LargestSizeMm} mm."));
    }

    /// <summary>Sums in whole HU, so the order of adding does not matter.</summary>
    private readonly record struct SliceChange(long SumHu, long SumAbsoluteHu, int LargestHu)
    {
        internal static unsafe SliceChange Between(short* before, short* after, long count)
        {
            long sum = 0, absolute = 0;
            var largest = 0;
            for (long i = 0; i < count; i++)
            {
                var change = after[i] - before[i];
                var size = Math.Abs(change);
                sum += change;
                absolute += size;
                largest = Math.Max(largest, size);
            }

            return new(sum, absolute, largest);
        }

        internal SliceChange And(SliceChange other) =>
            new(SumHu + other.SumHu, SumAbsoluteHu + other.SumAbsoluteHu, Math.Max(LargestHu, other.LargestHu));
    }
}
