using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Tests.Meshing.Spatial;

public class RadixSortTests
{
    [Theory]
    [Trait("Kind", "Property")]
    [InlineData(0, ulong.MaxValue, 1)]
    [InlineData(1, ulong.MaxValue, 1)]
    [InlineData(1000, 7UL, 2)]
    [InlineData(200_000, 0xFFF0_0000_00FFUL, 2)]
    [InlineData(150_000, ulong.MaxValue, 3)]
    public void Order_is_the_stable_order_of_the_keys(int count, ulong mask, int threads)
    {
        var random = new Random(count);
        var keys = new ulong[count];
        for (var i = 0; i < count; i++)
            keys[i] = (ulong)random.NextInt64() * 3 & mask;
        var expected = Enumerable.Range(0, count).OrderBy(i => keys[i]).ToArray();
        RadixSort.Order([.. keys], new RunContext(threads: threads)).Should().Equal(expected);
    }
}
