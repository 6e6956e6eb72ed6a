namespace AnatomyPrep.Phantoms.Sampling;

/// <summary>Standard normal deviates by place: the value at (slice, sample) depends on the seed and nothing else.</summary>
/// <remarks>
/// Method: G. E. P. Box, M. E. Muller, "A Note on the Generation of Random Normal Deviates", 1958, on Philox words:
/// each block of four words gives four deviates. Largest deviate 6.66 (smallest uniform 2^-32).
/// </remarks>
internal static class GaussianNoise
{
    /// <summary>Adds sigma times the deviates of one slice to its values.</summary>
    internal static void AddTo(Span<double> valuesHu, double sigmaHu, ulong seed, int slice)
    {
        uint key0 = (uint)seed, key1 = (uint)(seed >> 32);
        Span<double> four = stackalloc double[4];
        for (var at = 0; at < valuesHu.Length; at += 4)
        {
            var (a, b, c, d) = Philox.Block(key0, key1, (uint)(at >> 2), (uint)slice, 0, 0);
            Pair(a, b, out four[0], out four[1]);
            Pair(c, d, out four[2], out four[3]);
            var count = Math.Min(4, valuesHu.Length - at);
            for (var i = 0; i < count; i++)
                valuesHu[at + i] += sigmaHu * four[i];
        }
    }

    private static void Pair(uint a, uint b, out double first, out double second)
    {
        var radius = Math.Sqrt(-2 * Math.Log((a + 1.0) / 4294967296.0));
        var (sin, cos) = Math.SinCos(b * (2 * Math.PI / 4294967296.0));
        (first, second) = (radius * cos, radius * sin);
    }
}
