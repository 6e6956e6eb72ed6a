using System.Buffers.Binary;

namespace AnatomyPrep.Core.Running;

/// <summary>The checksum of ZIP: CRC-32 with the reflected polynomial EDB88320.</summary>
/// <remarks>
/// Method: eight tables, eight bytes a step; M. Kounavis and F. Berry, "A Systematic Approach to Building High Performance
///   Software-Based CRC Generators", ISCC 2005. Two checksums are joined by multiplying the first with x^(8n) modulo the
///   polynomial, which square-and-multiply finds in log n steps.
/// </remarks>
public static class Crc32
{
    private const uint Polynomial = 0xEDB8_8320;

    private static readonly uint[] s_tables = Tables();

    /// <summary>Checksum of what <paramref name="crc"/> stands for (0: nothing) followed by <paramref name="bytes"/>.</summary>
    public static uint Append(uint crc, ReadOnlySpan<byte> bytes)
    {
        var tables = s_tables;
        crc = ~crc;
        for (; bytes.Length >= 8; bytes = bytes[8..])
        {
            var low = BinaryPrimitives.ReadUInt32LittleEndian(bytes) ^ crc;
            var high = BinaryPrimitives.ReadUInt32LittleEndian(bytes[4..]);
            crc = tables[(7 * 256) + (int)(low & 0xFF)] ^ tables[(6 * 256) + (int)((low >> 8) & 0xFF)]
                ^ tables[(5 * 256) + (int)((low >> 16) & 0xFF)] ^ tables[(4 * 256) + (int)(low >> 24)]
                ^ tables[(3 * 256) + (int)(high & 0xFF)] ^ tables[(2 * 256) + (int)((high >> 8) & 0xFF)]
                ^ tables[256 + (int)((high >> 16) & 0xFF)] ^ tables[(int)(high >> 24)];
        }

        foreach (var b in bytes)
            crc = (crc >> 8) ^ tables[(int)((crc ^ b) & 0xFF)];
        return ~crc;
    }

    /// <summary>Checksum of two stretches of bytes, the second <paramref name="secondLength"/> long, from that of each.</summary>
    public static uint Join(uint first, uint second, long secondLength)
    {
        // Bit 31 stands for x^0: 1 is 80000000, and x^8 is 00800000.
        uint power = 0x8000_0000, square = 0x0080_0000;
        for (var n = secondLength; n > 0; n >>= 1)
        {
            if ((n & 1) != 0)
                power = Multiply(power, square);
            square = Multiply(square, square);
        }

        return Multiply(first, power) ^ second;
    }

    private static uint Multiply(uint a, uint b)
    {
        uint product = 0;
        for (var bit = 0x8000_0000; bit != 0; bit >>= 1)
        {
            if ((a & bit) != 0)
                product ^= b;
            b = (b & 1) != 0 ? (b >> 1) ^ Polynomial : b >> 1;
        }

        return product;
    }

    private static uint[] Tables()
    {
        var tables = new uint[8 * 256];
        for (uint i = 0; i < 256; i++)
        {
            var crc = i;
            for (var bit = 0; bit < 8; bit++)
                crc = (crc & 1) != 0 ? (crc >> 1) ^ Polynomial : crc >> 1;
            tables[i] = crc;
        }

        for (var i = 256; i < tables.Length; i++)
            tables[i] = (tables[i - 256] >> 8) ^ tables[(int)(tables[i - 256] & 0xFF)];
        return tables;
    }
}
