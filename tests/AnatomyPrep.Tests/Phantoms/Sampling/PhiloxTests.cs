using AnatomyPrep.Phantoms.Sampling;

namespace AnatomyPrep.Tests.Phantoms.Sampling;

public sealed class PhiloxTests
{
    [Theory]
    [Trait("Kind", "Outside")]
    // Known answers of Philox4x32-10 published with the paper's own implementation (from memory, not re-read).
    [InlineData(0u, 0u, 0u, 0u, 0u, 0u, 0x6627e8d5u, 0xe169c58du, 0xbc57ac4cu, 0x9b00dbd8u)]
    [InlineData(~0u, ~0u, ~0u, ~0u, ~0u, ~0u, 0x408f276du, 0x41c83b0eu, 0xa20bc7c6u, 0x6d5451fdu)]
    [InlineData(0xa4093822u, 0x299f31d0u, 0x243f6a88u, 0x85a308d3u, 0x13198a2eu, 0x03707344u, 0xd16cfe09u, 0x94fdccebu, 0x5001e420u, 0x24126ea1u)]
    public void Blocks_are_the_published_ones(uint k0, uint k1, uint c0, uint c1, uint c2, uint c3, uint a, uint b, uint c, uint d) =>
        Philox.Block(k0, k1, c0, c1, c2, c3).Should().Be((a, b, c, d));
}
