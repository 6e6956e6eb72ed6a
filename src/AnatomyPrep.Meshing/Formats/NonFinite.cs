using System.Numerics;
using System.Runtime.InteropServices;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>Finds NaN and infinity among many float32.</summary>
internal static class NonFinite
{
    private const uint Exponent = 0x7F80_0000;

    /// <summary>Index of the first value that is not finite, or -1.</summary>
    /// <remarks>
    /// Vector&lt;uint&gt;.Count lanes at a time: a value is not finite when all exponent bits are set. The block that holds
    /// one, and the remainder, go through the scalar line, which asks the same.
    /// </remarks>
    internal static int First(ReadOnlySpan<float> values)
    {
        var bits = MemoryMarshal.Cast<float, uint>(values);
        var exponent = new Vector<uint>(Exponent);
        var i = 0;
        for (; i + Vector<uint>.Count <= bits.Length; i += Vector<uint>.Count)
            if (Vector.EqualsAny(new Vector<uint>(bits[i..]) & exponent, exponent))
                break;
        for (; i < bits.Length; i++)
            if ((bits[i] & Exponent) == Exponent)
                return i;
        return -1;
    }
}
