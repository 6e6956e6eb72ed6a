using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Volumes;

namespace AnatomyPrep.Tests.Imaging.Volumes;

public sealed class DenoiseTests
{
    public enum Filter
    {
        Median,
        Gaussian,
        Bilateral,
    }

    [Theory]
    [Trait("Kind", "Truth")]
    [CombinatorialFilters(-3024, -1024, 0, 30710, short.MinValue, short.MaxValue)]
    public void A_constant_stays_constant(Filter filter, short hu)
    {
        using var volume = VolumeSamples.Of(23, 17, VolumeSamples.Straight(2), (_, _, _) => hu);
        var result = Run(filter, volume, sizeMm: 1.6);
        using var after = result.Volume;
        VolumeSamples.All(after).Should().OnlyContain(v => v == hu);
        result.Effect.Measures!["largestChangeHu"].Should().Be(0);
    }

    [Theory]
    [Trait("Kind", "Truth")]
    [CombinatorialFilters(-3024, 30710)]
    public void Extreme_values_survive_inside_their_plateau_and_nothing_leaves_the_range(Filter filter, short extreme)
    {
        // Half the slice holds the extreme, half soft tissue. Three sigmas (or the box) reach 5 columns at most.
        using var volume = VolumeSamples.Of(40, 20, VolumeSamples.Straight(1), (i, _, _) => i < 20 ? extreme : 40);
        using var after = Run(filter, volume, sizeMm: 1).Volume;
        for (var j = 0; j < 20; j++)
        {
            for (var i = 0; i < 40; i++)
            {
                ((int)after[i, j, 0]).Should().BeInRange(Math.Min(extreme, (short)40), Math.Max(extreme, (short)40));
                if (i < 14)
                    after[i, j, 0].Should().Be(extreme);
                if (i >= 26)
                    after[i, j, 0].Should().Be(40);
            }
        }
    }

    [Theory]
    [Trait("Kind", "Property")]
    [InlineData(Filter.Median)]
    [InlineData(Filter.Gaussian)]
    [InlineData(Filter.Bilateral)]
    public void Every_value_lies_within_its_window_over_the_whole_int16_range(Filter filter)
    {
        using var volume = VolumeSamples.Random(31, 29, 2, seed: 5);
        var result = Run(filter, volume, sizeMm: 1.2);
        using var after = result.Volume;
        var half = (int)result.Effect.Measures!["kernelColumns"] / 2;
        for (var k = 0; k < 2; k++)
        {
            for (var j = 0; j < 29; j++)
            {
                for (var i = 0; i < 31; i++)
                {
                    var window = Window(volume, i, j, k, half, half);
                    ((int)after[i, j, k]).Should().BeInRange(window.Min(), window.Max());
                }
            }
        }
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Median_removes_single_wrong_samples_and_keeps_the_rest()
    {
        using var volume = VolumeSamples.Of(32, 32, VolumeSamples.Straight(1), (i, j, _) => i % 7 == 3 && j % 7 == 3 ? 30710 : -1000);
        var result = Denoise.Median(volume, 1, RunContext.Default);
        using var after = result.Volume;
        VolumeSamples.All(after).Should().OnlyContain(v => v == -1000);
        result.Effect.Measures!["largestChangeHu"].Should().Be(31710);
        // Columns and rows 3, 10, 17, 24, 31: 25 samples out of 1024.
        result.Effect.Measures["meanAbsoluteChangeHu"].Should().Be(25 * 31710 / 1024.0);
        result.Effect.Measures["meanChangeHu"].Should().Be(-25 * 31710 / 1024.0);
    }

    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(0.5, 0.5, 0.5, 1, 1)]
    [InlineData(0.5, 0.5, 1.0, 2, 2)]
    [InlineData(0.5, 0.5, 1.6, 3, 3)]
    [InlineData(0.4, 0.8, 0.8, 2, 1)]
    [InlineData(0.9, 0.3, 0.9, 1, 3)]
    [InlineData(2.0, 0.5, 0.9, 0, 2)]
    [InlineData(0.1, 0.1, 1.5, 15, 15)]
    public void Median_is_the_middle_of_the_sorted_box_in_mm_also_at_the_border(
        double columnMm, double rowMm, double radiusMm, int halfColumns, int halfRows)
    {
        using var volume = VolumeSamples.Random(19, 14, 2, seed: 11, map: VolumeSamples.Straight(2, columnMm, rowMm));
        var result = Denoise.Median(volume, radiusMm, RunContext.Default);
        using var after = result.Volume;
        result.Effect.Measures!["kernelColumns"].Should().Be((2 * halfColumns) + 1);
        result.Effect.Measures["kernelRows"].Should().Be((2 * halfRows) + 1);
        for (var k = 0; k < 2; k++)
        {
            for (var j = 0; j < 14; j++)
            {
                for (var i = 0; i < 19; i++)
                {
                    var sorted = Window(volume, i, j, k, halfColumns, halfRows).Order().ToArray();
                    ((int)after[i, j, k]).Should().Be(sorted[sorted.Length / 2], "at {0}, {1}, {2}", i, j, k);
                }
            }
        }
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Gaussian_spreads_one_sample_by_the_discrete_Gaussian_of_its_size_in_mm()
    {
        const double SigmaMm = 0.7, ColumnMm = 0.5, RowMm = 0.9, Peak = 30000;
        using var volume = VolumeSamples.Of(41, 41, VolumeSamples.Straight(1, ColumnMm, RowMm), (i, j, _) => i == 20 && j == 20 ? Peak : 0);
        using var after = Denoise.Gaussian(volume, SigmaMm, RunContext.Default).Volume;
        double columnT = Math.Pow(SigmaMm / ColumnMm, 2), rowT = Math.Pow(SigmaMm / RowMm, 2);

        // Half a HU from the last rounding; each weight is off by at most 2^-19 (the middle one by 2^-19 for every other
        // weight), and the product of two by their sum, times the peak.
        const int KernelColumns = 13, KernelRows = 7;
        const double Bound = 0.5 + (Peak * (KernelColumns + KernelRows) / (1 << 19));
        for (var j = 0; j < 41; j++)
            for (var i = 0; i < 41; i++)
                ((double)after[i, j, 0]).Should().BeApproximately(Peak * DiscreteGaussian(i - 20, columnT) * DiscreteGaussian(j - 20, rowT), Bound);
    }

    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(0.35)]
    [InlineData(0.5)]
    [InlineData(1.0)]
    [InlineData(3.7)]
    [InlineData(60)]
    public void Gaussian_kernel_has_the_asked_variance_and_the_sum_one(double sigmaSamples)
    {
        var kernel = GaussianFilter.Kernel(sigmaSamples);
        var half = kernel.Length / 2;
        kernel.Sum().Should().Be(1);
        // Every pair of weights is off by at most 2 · 2^-19 · n²; beyond the last one, each is below half of 2^-18.
        var variance = kernel.Select((w, n) => w * (n - half) * (n - half)).Sum();
        var rounding = 2 * Enumerable.Range(1, half + (int)Math.Ceiling(2 * sigmaSamples)).Sum(n => (double)n * n) / (1 << 19);
        variance.Should().BeApproximately(sigmaSamples * sigmaSamples, rounding);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Gaussian_keeps_the_mean()
    {
        // A frame of zeros wider than the kernel keeps the border out of it.
        var random = new Random(3);
        using var volume = VolumeSamples.Of(160, 160, VolumeSamples.Straight(1), (i, j, _) =>
            i is >= 16 and < 144 && j is >= 16 and < 144 ? random.Next(-1024, 3072) : 0);
        var result = Denoise.Gaussian(volume, 1.5, RunContext.Default);
        using var after = result.Volume;
        // Only the rounding to whole HU is left: uniform in ±0.5, so the mean of 160² has a deviation of 0.289 / 160; five of them.
        Math.Abs(result.Effect.Measures!["meanChangeHu"]).Should().BeLessThan(5 * 0.289 / 160);
        result.Effect.Measures["largestChangeHu"].Should().BeGreaterThan(500);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Bilateral_keeps_an_edge_to_the_last_HU_where_a_Gaussian_blurs_it()
    {
        using var volume = VolumeSamples.Of(40, 20, VolumeSamples.Straight(1), (i, _, _) => i < 20 ? 40 : 1200);
        using var kept = Denoise.Bilateral(volume, 1, 100, RunContext.Default).Volume;
        using var blurred = Denoise.Gaussian(volume, 1, RunContext.Default).Volume;
        VolumeSamples.All(kept).Should().Equal(VolumeSamples.All(volume));
        ((int)blurred[19, 10, 0]).Should().BeInRange(300, 620);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Bilateral_agrees_with_its_formula_in_double_precision()
    {
        const double SigmaMm = 0.8, SigmaHu = 60, ColumnMm = 0.5, RowMm = 1;
        using var volume = VolumeSamples.Random(21, 15, 1, seed: 8, low: 0, high: 300, map: VolumeSamples.Straight(1, ColumnMm, RowMm));
        using var after = Denoise.Bilateral(volume, SigmaMm, SigmaHu, RunContext.Default).Volume;
        for (var j = 0; j < 15; j++)
        {
            for (var i = 0; i < 21; i++)
            {
                double sum = 0, weight = 0, spread = 0, samples = 0;
                for (var y = -2; y <= 2; y++)
                {
                    for (var x = -4; x <= 4; x++)
                    {
                        double d2 = (x * ColumnMm * x * ColumnMm) + (y * RowMm * y * RowMm);
                        if (d2 > 9 * SigmaMm * SigmaMm)
                            continue;
                        var difference = volume[Math.Clamp(i + x, 0, 20), Math.Clamp(j + y, 0, 14), 0] - volume[i, j, 0];
                        var w = Math.Exp(-d2 / (2 * SigmaMm * SigmaMm)) * Math.Exp(-difference * difference / (2 * SigmaHu * SigmaHu));
                        sum += w * difference;
                        weight += w;
                        spread = Math.Max(spread, Math.Abs(difference));
                        samples++;
                    }
                }

                // Each weight is off by at most 2^-11 + 2^-15; the mean by twice that share of the spread; then half a HU.
                var bound = 0.5 + (2 * samples * (Math.Pow(2, -11) + Math.Pow(2, -15)) / weight * spread);
                ((double)after[i, j, 0]).Should().BeApproximately(volume[i, j, 0] + (sum / weight), bound);
            }
        }
    }

    [Theory]
    [Trait("Kind", "Same")]
    [InlineData(Filter.Median)]
    [InlineData(Filter.Gaussian)]
    [InlineData(Filter.Bilateral)]
    public void Any_number_of_threads_gives_the_same_bytes(Filter filter)
    {
        using var volume = VolumeSamples.Random(65, 47, 9, seed: 21, map: VolumeSamples.Straight(9, 0.45, 0.6));
        var hashes = new HashSet<string>();
        foreach (var threads in new[] { 1, 2, 3, 16 })
        {
            using var after = Run(filter, volume, 0.9, new RunContext(threads: threads)).Volume;
            hashes.Add(VolumeSamples.Hash(after));
        }

        hashes.Should().ContainSingle();
    }

    [Theory]
    [Trait("Kind", "Same")]
    [InlineData(1)]
    [InlineData(2)]
    public unsafe void Sliding_histogram_and_sorting_network_agree(int half)
    {
        using var volume = VolumeSamples.Random(70, 40, 1, seed: 2);
        short[] byNetwork = new short[volume.Count], byHistogram = new short[volume.Count];
        fixed (short* network = byNetwork, histogram = byHistogram)
        {
            MedianFilter.Apply(volume.Samples, network, 70, 40, half, half);
            MedianFilter.BySlidingHistogram(volume.Samples, histogram, 70, 40, half, half);
        }

        byHistogram.Should().Equal(byNetwork);
    }

    [Theory]
    [Trait("Kind", "Same")]
    [InlineData(0.8, 1.3, 60)]
    [InlineData(2.1, 2.1, 900)]
    [InlineData(1, 1, 1e5)]
    public unsafe void Bilateral_with_and_without_vector_units_gives_the_same_bytes(double sigmaColumns, double sigmaRows, double sigmaHu)
    {
        foreach (var columns in new[] { 3, 4, 37 })
        {
            using var volume = VolumeSamples.Random(columns, 22, 1, seed: 13);
            var filter = new BilateralFilter(sigmaColumns, sigmaRows, sigmaHu);
            short[] plain = new short[volume.Count], vectors = new short[volume.Count];
            fixed (short* p = plain, v = vectors)
            {
                filter.Apply(volume.Samples, p, columns, 22, useVectors: false);
                filter.Apply(volume.Samples, v, columns, 22, useVectors: System.Runtime.Intrinsics.X86.Avx2.IsSupported);
            }

            vectors.Should().Equal(plain);
        }
    }

    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(1, 1)]
    [InlineData(1, 9)]
    [InlineData(9, 1)]
    [InlineData(2, 3)]
    public void Slices_smaller_than_the_kernel_are_filtered_with_their_border_repeated(int columns, int rows)
    {
        using var volume = VolumeSamples.Of(columns, rows, VolumeSamples.Straight(1), (_, _, _) => 123);
        foreach (var filter in Enum.GetValues<Filter>())
        {
            using var after = Run(filter, volume, 3).Volume;
            VolumeSamples.All(after).Should().OnlyContain(v => v == 123);
        }
    }

    [Fact]
    public void A_size_below_the_samples_changes_nothing_and_says_so()
    {
        using var volume = VolumeSamples.Random(12, 12, 2, seed: 1);
        foreach (var result in new[] { Denoise.Median(volume, 0.4, RunContext.Default), Denoise.Gaussian(volume, 0.001, RunContext.Default), Denoise.Bilateral(volume, 0.2, 50, RunContext.Default) })
        {
            using var after = result.Volume;
            VolumeSamples.All(after).Should().Equal(VolumeSamples.All(volume));
            var finding = result.Findings.Should().ContainSingle().Subject;
            finding.Code.Should().Be(FindingCodes.DenoiseWithoutEffect);
            finding.Severity.Should().Be(Severity.Note);
        }
    }

    [Fact]
    public void The_map_is_kept_and_the_input_untouched()
    {
        using var volume = VolumeSamples.Random(20, 20, 3, seed: 4);
        var before = VolumeSamples.Hash(volume);
        using var after = Denoise.Median(volume, 1, RunContext.Default).Volume;
        after.Map.Should().BeSameAs(volume.Map);
        VolumeSamples.Hash(volume).Should().Be(before);
    }

    [Theory]
    [Trait("Kind", "Hostile")]
    [InlineData(0)]
    [InlineData(-1)]
    [InlineData(5.001)]
    [InlineData(double.NaN)]
    [InlineData(double.PositiveInfinity)]
    public void A_size_that_is_none_is_refused(double sizeMm)
    {
        using var volume = VolumeSamples.Random(5, 5, 1, seed: 1);
        foreach (var filter in Enum.GetValues<Filter>())
        {
            var act = () => Run(filter, volume, sizeMm);
            act.Should().Throw<ArgumentOutOfRangeException>();
        }

        var spread = () => Denoise.Bilateral(volume, 1, -sizeMm, RunContext.Default);
        if (!(sizeMm < 0))
            spread.Should().Throw<ArgumentOutOfRangeException>();
    }

    [Fact]
    public void A_cancelled_run_stops_and_a_small_budget_refuses_before_it_starts()
    {
        using var volume = VolumeSamples.Random(30, 30, 4, seed: 1);
        using var cancelled = new CancellationTokenSource();
        cancelled.Cancel();
        var act = () => Denoise.Median(volume, 1, new RunContext(cancellation: cancelled.Token));
        act.Should().Throw<OperationCanceledException>();
        var small = () => Denoise.Median(volume, 1, new RunContext(memory: new MemoryBudget(1000)));
        small.Should().Throw<BadInputException>().Which.Field.Should().Be("memory");
    }

    private static VolumeResult Run(Filter filter, Volume volume, double sizeMm, RunContext? run = null) => filter switch
    {
        Filter.Median => Denoise.Median(volume, sizeMm, run ?? RunContext.Default),
        Filter.Gaussian => Denoise.Gaussian(volume, sizeMm, run ?? RunContext.Default),
        _ => Denoise.Bilateral(volume, sizeMm, 80, run ?? RunContext.Default),
    };

    private static List<int> Window(Volume volume, int i, int j, int k, int halfColumns, int halfRows)
    {
        var values = new List<int>();
        for (var y = j - halfRows; y <= j + halfRows; y++)
            for (var x = i - halfColumns; x <= i + halfColumns; x++)
                values.Add(volume[Math.Clamp(x, 0, volume.Columns - 1), Math.Clamp(y, 0, volume.Rows - 1), k]);
        return values;
    }

    /// <summary>e^(-t) I_n(t) = 1/π ∫ exp(t (cos a - 1)) cos(n a) da over 0 … π; the trapezoid rule is exact to rounding for periodic functions.</summary>
    private static double DiscreteGaussian(int n, double t)
    {
        const int Steps = 400;
        double sum = 0;
        for (var s = 0; s <= Steps; s++)
        {
            var angle = Math.PI * s / Steps;
            sum += (s is 0 or Steps ? 0.5 : 1) * Math.Exp(t * (Math.Cos(angle) - 1)) * Math.Cos(n * angle);
        }

        return sum / Steps;
    }

    /// <summary>Every filter with every given value.</summary>
    [AttributeUsage(AttributeTargets.Method)]
    private sealed class CombinatorialFiltersAttribute(params int[] values) : Xunit.Sdk.DataAttribute
    {
        public override IEnumerable<object[]> GetData(System.Reflection.MethodInfo testMethod) =>
            from filter in Enum.GetValues<Filter>() from value in values select new object[] { filter, (short)value };
    }
}
