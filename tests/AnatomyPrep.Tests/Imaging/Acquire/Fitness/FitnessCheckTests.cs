using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Acquire.Fitness;
using AnatomyPrep.Tests.Imaging.Volumes;

namespace AnatomyPrep.Tests.Imaging.Acquire.Fitness;

/// <summary>Figures of fitness on volumes of known noise, metal, motion and contrast; and on real series.</summary>
public sealed class FitnessCheckTests
{
    private const int Side = 128;
    private static readonly FitnessContext s_plain = new(1, null, ContrastTagged: false, null);

    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(4)]
    [InlineData(15)]
    [InlineData(60)]
    public void Noise_is_the_one_that_was_put_in(double sigmaHu)
    {
        using var volume = Body(12, (_, _, _) => 40, sigmaHu);
        var noise = Measure(volume, FindingCodes.NoiseHigh);
        // A block has 36 samples, so its SD scatters by 1/sqrt(70) = 12 % about the true one; the peak of some 3,000 of them, read
        // in bins of 0.5 HU smoothed over five, lies within a quarter of that scatter and half the smoothing.
        noise.Value.Should().BeApproximately(sigmaHu, (0.03 * sigmaHu) + 1.25);
        noise.Holds.Should().Be(sigmaHu < 50);
        Codes(volume).Contains(FindingCodes.NoiseHigh).Should().Be(sigmaHu > 50);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_shift_of_the_patient_between_two_slices_is_found_where_it_is()
    {
        using var still = Body(20, Textured, 8);
        Codes(still).Should().NotContain(FindingCodes.MotionStep);
        using var moved = Body(20, (i, j, k) => Textured(k >= 13 ? i + 4 : i, j, k), 8);
        var finding = Findings(moved).Single(f => f.Code == FindingCodes.MotionStep);
        finding.Place!.Slice.Should().Be(12);
        finding.Message.Should().Contain("Slices 12 and 13").And.Contain("limit 2 (ours");
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Uneven_slices_are_compared_with_their_like_only()
    {
        // A protocol of two blocks: steps of 1 and 3 mm through a texture that changes along z.
        var origins = Enumerable.Range(0, 24).Select(k => new Vec3(0, 0, k < 12 ? k : 11 + (3 * (k - 11)))).ToArray();
        var map = new IndexToPatient(new(1, 0, 0), new(0, 1, 0), origins);
        using var volume = VolumeSamples.Of(Side, Side, map, (i, j, k) => InBody(i, j) ? Textured(i, j, (int)(4 * origins[k].Z)) : -1000);
        Codes(volume).Should().NotContain(FindingCodes.MotionStep);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Metal_is_told_and_streaks_are_scatter_that_comes_with_it()
    {
        var random = new Random(3);
        using var clean = Body(16, (i, j, k) => k is >= 5 and < 9 && i is >= 60 and < 66 && j is >= 60 and < 66 ? 3071 : 40, 10);
        Codes(clean).Should().Contain(FindingCodes.MetalInImages).And.NotContain(FindingCodes.MetalStreaks);
        Findings(clean).Single(f => f.Code == FindingCodes.MetalInImages).Place!.Slice.Should().Be(5);
        // Scatter of 10 HU without, of sqrt(10² + 30²) = 31.6 HU with: a ratio of 3.16.
        using var streaked = Body(16, (i, j, k) => k is >= 5 and < 9 ? i is >= 60 and < 66 && j is >= 60 and < 66 ? 3071 : 40 + (30 * Gauss(random)) : 40, 10);
        Measure(streaked, FindingCodes.MetalStreaks).Value.Should().BeApproximately(3.16, 0.2);
        Codes(streaked).Should().Contain(FindingCodes.MetalStreaks);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Vessels_with_contrast_are_seen_and_spongy_bone_and_tables_are_not()
    {
        using var vessel = Body(40, (i, j, _) => Math.Abs(i - 60) < 10 && Math.Abs(j - 60) < 10 ? 300 : 40, 10);
        Findings(vessel).Single(f => f.Code == FindingCodes.ContrastPresent).Severity.Should().Be(Severity.Note);
        // Trabeculae: the same mean, +-100 HU from sample to sample.
        using var spongy = Body(16, (i, j, _) => Math.Abs(i - 60) < 10 && Math.Abs(j - 60) < 10 ? 300 + ((i + j) % 2 == 0 ? 100 : -100) : 40, 10);
        Codes(spongy).Should().NotContain(FindingCodes.ContrastPresent);
        using var table = Body(16, (_, _, _) => 40, 10, outside: (i, j) => i < 14 && j > 113 ? 300 : -1000);
        Codes(table).Should().NotContain(FindingCodes.ContrastPresent);
        FitnessCheck.Judge(spongy, s_plain with { ContrastTagged = true }, RunContext.Default).Findings
            .Single(f => f.Code == FindingCodes.ContrastPresent).Severity.Should().Be(Severity.Caution);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Values_that_are_not_CT_are_told()
    {
        using var labels = VolumeSamples.Of(Side, Side, VolumeSamples.Straight(4), (i, j, _) => InBody(i, j) ? 1 + (i / 40) : 0);
        Findings(labels).Single(f => f.Code == FindingCodes.ValuesNotCt).Message.Should().Contain("map of labels");
        using var noIntercept = VolumeSamples.Of(Side, Side, VolumeSamples.Straight(4), (i, j, _) => InBody(i, j) ? 1064 + ((i * j) % 50) : 24);
        Findings(noIntercept).Single(f => f.Code == FindingCodes.ValuesNotCt).Message.Should().Contain("no air");
        using var ct = Body(4, (_, _, _) => 40, 15);
        Codes(ct).Should().NotContain(FindingCodes.ValuesNotCt);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_body_cut_by_the_field_of_view_is_told()
    {
        using var cut = VolumeSamples.Of(Side, Side, VolumeSamples.Straight(4), (i, j, k) => j > 30 ? 40 + ((i * 7 + j * 3 + k) % 40) : -1000 + (i % 3));
        Codes(cut).Should().Contain(FindingCodes.ViewCropped);
        using var whole = Body(4, (_, _, _) => 40, 15);
        Measure(whole, FindingCodes.ViewCropped).Value.Should().Be(0);
    }

    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(1.0, "orbital floor", true)]
    [InlineData(0.5, "orbital floor", false)]
    [InlineData(2.0, "skull", false)]
    [InlineData(2.5, "skull", true)]
    [InlineData(2.5, "something else", false)]
    [InlineData(2.5, null, false)]
    public void Slices_are_held_against_the_detail_of_what_is_asked_for(double coarsestMm, string? anatomy, bool tooCoarse)
    {
        using var volume = VolumeSamples.Of(8, 8, VolumeSamples.Straight(4), (_, _, _) => 0);
        var report = FitnessCheck.Judge(volume, s_plain with { CoarsestMm = coarsestMm, Anatomy = anatomy }, RunContext.Default);
        report.Findings.Any(f => f.Code == FindingCodes.StructureTooFine && f.Severity == Severity.Caution).Should().Be(tooCoarse);
    }

    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(3.0, null)]
    [InlineData(4.0, Severity.Note)]
    [InlineData(6.0, Severity.Caution)]
    public void Anisotropy_has_its_limit(double sliceMm, Severity? severity)
    {
        using var volume = VolumeSamples.Of(8, 8, VolumeSamples.Straight(4, sliceMm: sliceMm), (_, _, _) => 0);
        FitnessCheck.Judge(volume, s_plain with { CoarsestMm = sliceMm }, RunContext.Default).Findings.SingleOrDefault(f => f.Code == FindingCodes.Anisotropy)?.Severity.Should().Be(severity);
    }

    /// <summary>Names: common practice, no source.</summary>
    [Theory]
    [Trait("Kind", "Outside")]
    [InlineData("STANDARD", "Soft")]
    [InlineData("BONEPLUS", "Sharp")]
    [InlineData("B31f", "Soft")]
    [InlineData("B50f", "Medium")]
    [InlineData("B70s", "Sharp")]
    [InlineData("H60s", "Sharp")]
    [InlineData("Hr40f\\3", "Soft")]
    [InlineData("FC08", "Soft")]
    [InlineData("FC30", "Sharp")]
    [InlineData("UB", "Unknown")]
    [InlineData("ANALYTIC", "Unknown")]
    [InlineData(null, "Unknown")]
    public void Kernels_are_told_by_their_names(string? name, string kind) => KernelKinds.Of(name).ToString().Should().Be(kind);

    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData("B70s", null, FindingCodes.KernelSharp)]
    [InlineData("B70s", "skull", null)]
    [InlineData("B70s", "aorta", FindingCodes.KernelSharp)]
    [InlineData("B30s", "mandible", FindingCodes.KernelSoft)]
    [InlineData("B30s", "skin", null)]
    [InlineData("unheard-of", null, null)]
    public void A_kernel_is_told_unless_it_suits(string kernel, string? anatomy, string? code)
    {
        using var volume = VolumeSamples.Of(8, 8, VolumeSamples.Straight(4), (_, _, _) => 0);
        FitnessCheck.Judge(volume, s_plain with { Kernel = kernel, Anatomy = anatomy, CoarsestMm = 0.5 }, RunContext.Default).Findings
            .Where(f => f.Code is FindingCodes.KernelSharp or FindingCodes.KernelSoft).Select(f => f.Code).Should().Equal(code is null ? [] : [code]);
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Figures_are_the_same_on_any_number_of_threads()
    {
        using var volume = Body(9, Textured, 20);
        var one = FitnessCheck.Judge(volume, s_plain, new RunContext(threads: 1));
        foreach (var threads in (int[])[2, 3, 16])
        {
            var other = FitnessCheck.Judge(volume, s_plain, new RunContext(threads: threads));
            other.Measures.Should().Equal(one.Measures);
            other.Findings.Should().Equal(one.Findings);
        }
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Every_figure_says_what_it_is_held_to()
    {
        using var volume = Body(9, Textured, 20);
        var measures = FitnessCheck.Judge(volume, s_plain with { Anatomy = "skull" }, RunContext.Default).Measures;
        measures.Should().HaveCountGreaterThanOrEqualTo(8).And.OnlyContain(m => m.LimitSource.Length > 5 && m.Name.Length > 5);
    }

    /// <summary>
    /// Facts published with the data (shared/data/PROVENANCE.md): the human head moved in neither block, the chest has 34 samples of metal and no
    /// contrast, and no series has noise beyond use.
    /// </summary>
    [Theory]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    [InlineData("head-phantom-tilt-minus", false)]
    [InlineData("head-human-tilt-uneven", false)]
    [InlineData("chest-human-1mm-overlap", true)]
    public void Real_series_get_the_findings_their_publisher_describes_and_no_false_ones(string name, bool metal)
    {
        using var series = TestReader.Source.Load(SharedData.Series(name), null, RunContext.Default);
        var codes = series.Facts.Findings.Select(f => f.Code).ToArray();
        codes.Contains(FindingCodes.MetalInImages).Should().Be(metal);
        codes.Should().NotContain([FindingCodes.MotionStep, FindingCodes.NoiseHigh, FindingCodes.ValuesNotCt, FindingCodes.ContrastPresent, FindingCodes.MetalStreaks]);
    }

    private static FitnessMeasure Measure(Volume volume, string code) => FitnessCheck.Judge(volume, s_plain, RunContext.Default).Measures.Single(m => m.Code == code);

    private static IReadOnlyList<Finding> Findings(Volume volume) => FitnessCheck.Judge(volume, s_plain, RunContext.Default).Findings;

    private static string[] Codes(Volume volume) => [.. Findings(volume).Select(f => f.Code)];

    private static bool InBody(int i, int j) => ((i - 64) * (i - 64)) + ((j - 64) * (j - 64)) < 50 * 50;

    /// <summary>Tissue whose pattern changes slowly along z.</summary>
    private static double Textured(int i, int j, int k) => 50 + (40 * Math.Sin((i + (0.1 * k)) / 2.0) * Math.Cos(j / 2.5));

    /// <summary>A round body in air, with Gaussian noise.</summary>
    private static Volume Body(int slices, Func<int, int, int, double> hu, double sigmaHu, Func<int, int, double>? outside = null)
    {
        var random = new Random(17);
        return VolumeSamples.Of(Side, Side, VolumeSamples.Straight(slices), (i, j, k) =>
            (InBody(i, j) ? hu(i, j, k) : outside?.Invoke(i, j) ?? -1000) + (sigmaHu * Gauss(random)));
    }

    /// <summary>Box and Muller, 1958.</summary>
    private static double Gauss(Random random) => Math.Sqrt(-2 * Math.Log(1 - random.NextDouble())) * Math.Cos(2 * Math.PI * random.NextDouble());
}
