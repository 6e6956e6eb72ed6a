using System.Security.Cryptography;

namespace AnatomyPrep.Tests.Records.Ledgers;

/// <summary>
/// RFC 9162 written down as its recursions stand, sections 2.1.1, 2.1.3.1 and 2.1.4.1: slow, obvious, and independent of the
/// product. Leaves are lists of data; nothing is stored.
/// </summary>
internal static class LiteralMerkle
{
    /// <summary>MTH(D_n).</summary>
    public static byte[] Hash(IReadOnlyList<byte[]> d)
    {
        if (d.Count == 0)
            return SHA256.HashData([]);
        if (d.Count == 1)
            return SHA256.HashData([0x00, .. d[0]]);
        var k = LargestPowerOfTwoBelow(d.Count);
        return SHA256.HashData([0x01, .. Hash(Part(d, 0, k)), .. Hash(Part(d, k, d.Count))]);
    }

    /// <summary>PATH(m, D_n).</summary>
    public static List<byte[]> Path(int m, IReadOnlyList<byte[]> d)
    {
        if (d.Count == 1)
            return [];
        var k = LargestPowerOfTwoBelow(d.Count);
        return m < k
            ? [.. Path(m, Part(d, 0, k)), Hash(Part(d, k, d.Count))]
            : [.. Path(m - k, Part(d, k, d.Count)), Hash(Part(d, 0, k))];
    }

    /// <summary>PROOF(m, D_n).</summary>
    public static List<byte[]> Proof(int m, IReadOnlyList<byte[]> d) => SubProof(m, d, true);

    private static List<byte[]> SubProof(int m, IReadOnlyList<byte[]> d, bool b)
    {
        if (m == d.Count)
            return b ? [] : [Hash(d)];
        var k = LargestPowerOfTwoBelow(d.Count);
        return m <= k
            ? [.. SubProof(m, Part(d, 0, k), b), Hash(Part(d, k, d.Count))]
            : [.. SubProof(m - k, Part(d, k, d.Count), false), Hash(Part(d, 0, k))];
    }

    private static int LargestPowerOfTwoBelow(int n)
    {
        var k = 1;
        while (2 * k < n)
            k *= 2;
        return k;
    }

    private static List<byte[]> Part(IReadOnlyList<byte[]> d, int from, int to) => [.. d.Skip(from).Take(to - from)];
}
