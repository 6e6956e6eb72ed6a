using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Records.Inspections;

namespace AnatomyPrep.Tests.Records.Inspections;

public sealed class LimitsOfAgreementTests
{
    /// <summary>
    /// The worked example of Bland and Altman, Lancet 1986, i: 307-310: peak flow of 17 people by a large and a small meter, first readings of
    /// each (l/min). Readings and published figures from memory: mean difference -2.1, SD 38.8, standard error of the mean 9.4, of a limit 16.3;
    /// limits at two SD -79.7 and 75.5.
    /// </summary>
    [Fact]
    [Trait("Kind", "Outside")]
    public void The_published_example_comes_out()
    {
        double[] large = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427];
        double[] small = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451];
        var limits = LimitsOfAgreement.Of([.. large.Zip(small, (a, b) => a - b)]);
        limits.Count.Should().Be(17);
        limits.BiasMm.Should().BeApproximately(-2.1, 0.05);
        limits.SdMm.Should().BeApproximately(38.8, 0.05);
        limits.BiasErrorMm.Should().BeApproximately(9.4, 0.05);
        limits.LimitErrorMm.Should().BeApproximately(16.3, 0.05);
        // The paper takes them from its rounded figures: half of the last digit of the mean, and twice that of the SD.
        (limits.BiasMm - (2 * limits.SdMm)).Should().BeApproximately(-79.7, 0.15);
        (limits.BiasMm + (2 * limits.SdMm)).Should().BeApproximately(75.5, 0.15);
        limits.UpperMm.Should().BeApproximately(limits.BiasMm + (1.96 * limits.SdMm), 1e-12);
    }

    [Fact]
    public void One_difference_is_no_agreement() =>
        FluentActions.Invoking(() => LimitsOfAgreement.Of([0.1])).Should().Throw<ArgumentException>();

    [Fact]
    public void Within_means_every_difference_and_both_limits()
    {
        // Mean 0, SD 0.4: the limits lie at 0.784.
        LimitsOfAgreement.Of([-0.4, 0.4, 0, -0.4, 0.4, 0.4, -0.4]).IsWithin(0.5).Should().BeFalse();
        LimitsOfAgreement.Of([-0.1, 0.1, 0, 0.1, -0.1]).IsWithin(0.5).Should().BeTrue();
        LimitsOfAgreement.Of([0.01, 0.01, 0.01, 0.01, 0.01, 0.01, 0.01, 0.01, 0.01, 0.3]).IsWithin(0.25).Should().BeFalse();
    }

    /// <summary>Readings that are 1 % too large along x, exact along y, and of one distance along z: slopes known without error.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void Scale_of_each_axis_and_scatter_of_readings_are_exact()
    {
        var facts = CaliperFacts.Of("s", null, null,
        [
            Reading("X1", "x", 50, 50.5), Reading("X2", "x", 20, 20.2), Reading("Y1", "y", 40, 40.1, 39.9), Reading("Y2", "y", 30, 30), Reading("Z1", "z", 25, 25),
        ]);
        facts.Scales.Select(s => s.Axis).Should().Equal("x", "y", "z");
        facts.Scales[0].Scale.Should().BeApproximately(1.01, 1e-12);
        facts.Scales[0].StandardError.Should().BeApproximately(0, 1e-12);
        facts.Scales[1].Scale.Should().BeApproximately(1, 1e-12);
        facts.Scales[2].StandardError.Should().BeNull();
        // One pair 0.2 apart: variance 0.2²/2 with one degree of freedom.
        facts.ReadingSdMm.Should().BeApproximately(0.2 / Math.Sqrt(2), 1e-12);
    }

    private static CaliperReading Reading(string name, string axis, double expected, params double[] readings) =>
        new(name, axis, Vec3.Zero, new(expected, 0, 0), expected, 0.05, readings);
}
