namespace AnatomyPrep.Phantoms.Sampling;

/// <summary>Random words as a function of (key, counter): no state, so the order of asking changes nothing.</summary>
/// <remarks>
/// Method: Salmon, Moraes, Dror, Shaw, "Parallel Random Numbers: As Easy as 1, 2, 3", SC11 2011: Philox4x32 with 10 rounds.
/// </remarks>
internal static class Philox
{
    private const uint MultiplierA = 0xD2511F53, MultiplierB = 0xCD9E8D57, WeylA = 0x9E3779B9, WeylB = 0xBB67AE85;

    internal static (uint A, uint B, uint C, uint D) Block(uint key0, uint key1, uint c0, uint c1, uint c2, uint c3)
    {
        for (var round = 0; round < 10; round++)
        {
            ulong a = (ulong)MultiplierA * c0, b = (ulong)MultiplierB * c2;
            (c0, c1, c2, c3) = ((uint)(b >> 32) ^ c1 ^ key0, (uint)b, (uint)(a >> 32) ^ c3 ^ key1, (uint)a);
            key0 += WeylA;
            key1 += WeylB;
        }

        return (c0, c1, c2, c3);
    }
}
