using System.Runtime.CompilerServices;
using System.Runtime.InteropServices;
using System.Security.Cryptography;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>Hash of three float32 coordinates, equal for equal positions (-0 equals 0).</summary>
/// <remarks>
/// Method: multiply-shift on a vector of 32-bit words; M. Dietzfelbinger, "Universal hashing and k-wise independent random
///   variables via integer arithmetic without primes", STACS 1996. The high bits are the good ones.
/// The multipliers are drawn once per process, so that no file can be built to make every position collide. Which hash a
/// position gets never shows in a result: whoever uses it looks positions up, and numbers them in the order of the input.
/// </remarks>
internal static class PointHash
{
    private static readonly ulong s_x = OddMultiplier();
    private static readonly ulong s_y = OddMultiplier();
    private static readonly ulong s_z = OddMultiplier();

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    internal static ulong Of(uint x, uint y, uint z) => (x * s_x) + (y * s_y) + (z * s_z);

    /// <summary>Bits that are equal when the numbers are: -0 becomes 0.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    internal static uint Bits(float coordinate)
    {
        var bits = BitConverter.SingleToUInt32Bits(coordinate);
        return bits == 0x8000_0000 ? 0 : bits;
    }

    private static ulong OddMultiplier()
    {
        Span<ulong> one = stackalloc ulong[1];
        RandomNumberGenerator.Fill(MemoryMarshal.AsBytes(one));
        return one[0] | 1;
    }
}
