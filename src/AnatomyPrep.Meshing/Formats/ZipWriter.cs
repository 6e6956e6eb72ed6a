using System.Buffers.Binary;
using System.Text;
using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>Writes a ZIP archive of parts that are packed already; the same parts give the same bytes.</summary>
/// <remarks>
/// Format: APPNOTE 6.3, Deflate, no data descriptors, no ZIP64; every time is 1980-01-01 00:00, the earliest there is,
/// because the time of writing must not show in the bytes. The stream need not be seekable and is left open.
/// </remarks>
internal sealed class ZipWriter(Stream stream)
{
    private const ushort Version = 20;
    private const ushort DeflateMethod = 8;
    private const ushort FirstOfJanuary1980 = 0x0021;

    private readonly List<(byte[] Name, uint Crc, uint Packed, uint Unpacked, uint At)> _entries = [];
    private long _at;

    /// <summary>Adds a part from stretches made by <see cref="DeflateEncoder"/>.</summary>
    /// <param name="crc">Checksum of the unpacked bytes.</param>
    internal void Add(string name, IReadOnlyList<byte[]> stretches, uint crc, long unpacked)
    {
        var packed = stretches.Sum(s => (long)s.Length) + DeflateEncoder.End.Length;
        if (unpacked > uint.MaxValue || _at + packed > uint.MaxValue)
            throw new CheckFailedException($"size of {name}", "under 4 GiB", FormattableString.Invariant($"{unpacked} bytes"));
        var entry = (Encoding.ASCII.GetBytes(name), crc, (uint)packed, (uint)unpacked, (uint)_at);
        _entries.Add(entry);
        Span<byte> header = stackalloc byte[30];
        BinaryPrimitives.WriteUInt32LittleEndian(header, 0x0403_4B50);
        WriteCommon(header[4..], entry);
        Write(header);
        Write(entry.Item1);
        foreach (var stretch in stretches)
            Write(stretch);
        Write(DeflateEncoder.End);
    }

    /// <summary>Writes the directory; nothing may be added afterwards.</summary>
    internal void Finish()
    {
        var start = (uint)_at;
        Span<byte> header = stackalloc byte[46];
        foreach (var entry in _entries)
        {
            header.Clear();
            BinaryPrimitives.WriteUInt32LittleEndian(header, 0x0201_4B50);
            BinaryPrimitives.WriteUInt16LittleEndian(header[4..], Version);
            WriteCommon(header[6..], entry);
            BinaryPrimitives.WriteUInt32LittleEndian(header[42..], entry.At);
            Write(header);
            Write(entry.Name);
        }

        var size = (uint)_at - start;
        Span<byte> end = stackalloc byte[22];
        end.Clear();
        BinaryPrimitives.WriteUInt32LittleEndian(end, 0x0605_4B50);
        BinaryPrimitives.WriteUInt16LittleEndian(end[8..], (ushort)_entries.Count);
        BinaryPrimitives.WriteUInt16LittleEndian(end[10..], (ushort)_entries.Count);
        BinaryPrimitives.WriteUInt32LittleEndian(end[12..], size);
        BinaryPrimitives.WriteUInt32LittleEndian(end[16..], start);
        Write(end);
    }

    // The fields that the header of a part and its line in the directory have in common, in the same order.
    private static void WriteCommon(Span<byte> at, (byte[] Name, uint Crc, uint Packed, uint Unpacked, uint At) entry)
    {
        BinaryPrimitives.WriteUInt16LittleEndian(at, Version);
        BinaryPrimitives.WriteUInt16LittleEndian(at[2..], 0);
        BinaryPrimitives.WriteUInt16LittleEndian(at[4..], DeflateMethod);
        BinaryPrimitives.WriteUInt16LittleEndian(at[6..], 0);
        BinaryPrimitives.WriteUInt16LittleEndian(at[8..], FirstOfJanuary1980);
        BinaryPrimitives.WriteUInt32LittleEndian(at[10..], entry.Crc);
        BinaryPrimitives.WriteUInt32LittleEndian(at[14..], entry.Packed);
        BinaryPrimitives.WriteUInt32LittleEndian(at[18..], entry.Unpacked);
        BinaryPrimitives.WriteUInt16LittleEndian(at[22..], (ushort)entry.Name.Length);
        BinaryPrimitives.WriteUInt16LittleEndian(at[24..], 0);
    }

    private void Write(ReadOnlySpan<byte> bytes)
    {
        stream.Write(bytes);
        _at += bytes.Length;
    }
}
