using System.Runtime.InteropServices;
using System.Security.Cryptography;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Tests.Imaging.Segment;

/// <summary>Regions as tests need them: all samples, and one text for all bits.</summary>
internal static class RegionBits
{
    internal static IEnumerable<(int I, int J, int K)> All(Region region) =>
        from k in Enumerable.Range(0, region.Slices)
        from j in Enumerable.Range(0, region.Rows)
        from i in Enumerable.Range(0, region.Columns)
        select (i, j, k);

    internal static IEnumerable<(int I, int J, int K)> Inside(Region region) => All(region).Where(s => region[s.I, s.J, s.K]);

    internal static string Hash(Region region)
    {
        using var hash = IncrementalHash.CreateHash(HashAlgorithmName.SHA256);
        for (var k = -1; k <= region.Slices; k++)
            for (var j = -1; j <= region.Rows; j++)
                hash.AppendData(MemoryMarshal.AsBytes(region.Row(j, k)));
        return Convert.ToHexString(hash.GetHashAndReset());
    }

    /// <summary>2 |A ∩ B| / (|A| + |B|) over samples.</summary>
    internal static double Dice(Region region, Func<int, int, int, bool> truth)
    {
        long both = 0, sum = 0;
        foreach (var (i, j, k) in All(region))
        {
            bool a = region[i, j, k], b = truth(i, j, k);
            both += a && b ? 1 : 0;
            sum += (a ? 1 : 0) + (b ? 1 : 0);
        }

        return 2.0 * both / sum;
    }
}
