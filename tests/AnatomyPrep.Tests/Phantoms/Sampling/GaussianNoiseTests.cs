using AnatomyPrep.Phantoms.Sampling;

namespace AnatomyPrep.Tests.Phantoms.Sampling;

public sealed class GaussianNoiseTests
{
    [Fact]
    [Trait("Kind", "Truth")]
    public void Noise_has_the_moments_of_a_normal_distribution()
    {
        const int N = 400_001;
        var values = new double[N];
        GaussianNoise.AddTo(values, 15, 42, 7);
        double mean = values.Average(), variance = values.Sum(v => (v - mean) * (v - mean)) / N, fourth = values.Sum(v => Math.Pow(v - mean, 4)) / N;
        // Five standard errors each: σ/√N, σ²√(2/N), kurtosis √(24/N).
        mean.Should().BeApproximately(0, 5 * 15 / Math.Sqrt(N));
        variance.Should().BeApproximately(225, 5 * 225 * Math.Sqrt(2.0 / N));
        (fourth / (variance * variance)).Should().BeApproximately(3, 5 * Math.Sqrt(24.0 / N));
        // Neighbours along a row do not know of each other.
        (values.Zip(values.Skip(1), (a, b) => a * b).Average() / variance).Should().BeApproximately(0, 5 / Math.Sqrt(N));
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Noise_at_a_place_follows_from_seed_and_place_alone()
    {
        double[] longer = new double[1003], shorter = new double[502], otherSlice = new double[502], otherSeed = new double[502];
        GaussianNoise.AddTo(longer, 1, 9, 3);
        GaussianNoise.AddTo(shorter, 1, 9, 3);
        GaussianNoise.AddTo(otherSlice, 1, 9, 4);
        GaussianNoise.AddTo(otherSeed, 1, 9UL << 32, 3);
        shorter.Should().Equal(longer[..502]);
        otherSlice.Should().NotEqual(shorter);
        otherSeed.Should().NotEqual(shorter);
    }
}
