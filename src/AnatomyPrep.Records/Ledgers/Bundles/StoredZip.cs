using System.Buffers.Binary;
using System.Text;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Records.Ledgers.Bundles;

/// <summary>A ZIP file in one form only: entries stored as they are, in ordinal order, with one fixed date.</summary>
/// <remarks>
/// Method: APPNOTE.TXT 6.3 (from memory), without compression, encryption, extra fields or Zip64. Byte for byte what Python's zipfile writes
///   for the same entries (stored, dated 1980-01-01), so that a page of Python can tell whether a single bit of the file was changed.
/// Limits: 4 GB in all, 65,535 entries. Memory: the whole file.
/// </remarks>
internal static class StoredZip
{
    private const int LocalHeaderBytes = 30;
    private const int CentralHeaderBytes = 46;
    private const int EndBytes = 22;
    private const int Date1980 = 0x21;
    private const uint OwnerOnlyFile = 0x0180_0000;

    public static byte[] Write(IReadOnlyDictionary<string, byte[]> files)
    {
        var names = files.Keys.Order(StringComparer.Ordinal).ToArray();
        long total = EndBytes;
        foreach (var name in names)
            total += LocalHeaderBytes + CentralHeaderBytes + (2L * Encoding.ASCII.GetByteCount(name)) + files[name].Length;
        if (total > int.MaxValue || names.Length > ushort.MaxValue)
            throw new LedgerRefusedException(Refusals.EventForm, $"A bundle of {total} bytes is too large.", "Bundle fewer models.");
        var zip = new byte[total];
        var at = 0;
        var central = new List<(string Name, uint Crc, int Offset)>();
        foreach (var name in names)
        {
            var crc = Crc32.Append(0, files[name]);
            central.Add((name, crc, at));
            WriteLocal(zip, ref at, name, crc, files[name]);
        }

        var start = at;
        foreach (var (name, crc, offset) in central)
            WriteCentral(zip, ref at, name, crc, files[name].Length, offset);
        WriteEnd(zip.AsSpan(at), names.Length, at - start, start);
        return zip;
    }

    /// <summary>Reads a file that <see cref="Write"/> could have written; refuses any other.</summary>
    /// <exception cref="CheckFailedException">Not in that form.</exception>
    public static Dictionary<string, byte[]> Read(ReadOnlySpan<byte> zip)
    {
        var files = new Dictionary<string, byte[]>();
        var ends = new List<(int End, string Name)>();
        var at = 0;
        while (at + LocalHeaderBytes <= zip.Length && BinaryPrimitives.ReadUInt32LittleEndian(zip[at..]) == 0x0403_4B50)
        {
            var size = BinaryPrimitives.ReadUInt32LittleEndian(zip[(at + 18)..]);
            var nameLength = BinaryPrimitives.ReadUInt16LittleEndian(zip[(at + 26)..]);
            var from = at + LocalHeaderBytes + nameLength;
            if (size > int.MaxValue || from + (long)size > zip.Length)
                throw NotExact($"an entry that ends inside the file, at {at}");
            var name = Encoding.ASCII.GetString(zip.Slice(at + LocalHeaderBytes, nameLength));
            if (!files.TryAdd(name, zip.Slice(from, (int)size).ToArray()))
                throw NotExact($"every name once; {name} is there twice");
            at = from + (int)size;
            ends.Add((at, name));
        }

        var again = Write(files);
        if (again.AsSpan().SequenceEqual(zip))
            return files;
        var differs = zip.CommonPrefixLength(again);
        var place = ends.Find(e => differs < e.End).Name is { } entry ? $"in {entry}" : "in the list of files at the end";
        throw new CheckFailedException("bundle", "the same bytes when written again", $"a difference {place}, at byte {differs}");
    }

    private static void WriteLocal(byte[] zip, ref int at, string name, uint crc, byte[] data)
    {
        var header = zip.AsSpan(at);
        BinaryPrimitives.WriteUInt32LittleEndian(header, 0x0403_4B50);
        WriteCommon(header[4..], name, crc, data.Length);
        Encoding.ASCII.GetBytes(name, header[LocalHeaderBytes..]);
        at += LocalHeaderBytes + name.Length;
        data.CopyTo(zip, at);
        at += data.Length;
    }

    private static void WriteCentral(byte[] zip, ref int at, string name, uint crc, int length, int offset)
    {
        var header = zip.AsSpan(at);
        BinaryPrimitives.WriteUInt32LittleEndian(header, 0x0201_4B50);
        header[4] = 20;
        header[5] = 3;
        WriteCommon(header[6..], name, crc, length);
        BinaryPrimitives.WriteUInt32LittleEndian(header[38..], OwnerOnlyFile);
        BinaryPrimitives.WriteInt32LittleEndian(header[42..], offset);
        Encoding.ASCII.GetBytes(name, header[CentralHeaderBytes..]);
        at += CentralHeaderBytes + name.Length;
    }

    /// <summary>Version needed, flags, method, time, date, checksum, both sizes, length of the name, no extra field.</summary>
    private static void WriteCommon(Span<byte> fields, string name, uint crc, int length)
    {
        fields[0] = 20;
        BinaryPrimitives.WriteUInt16LittleEndian(fields[8..], Date1980);
        BinaryPrimitives.WriteUInt32LittleEndian(fields[10..], crc);
        BinaryPrimitives.WriteInt32LittleEndian(fields[14..], length);
        BinaryPrimitives.WriteInt32LittleEndian(fields[18..], length);
        BinaryPrimitives.WriteUInt16LittleEndian(fields[22..], (ushort)name.Length);
    }

    private static void WriteEnd(Span<byte> end, int entries, int centralBytes, int centralOffset)
    {
        BinaryPrimitives.WriteUInt32LittleEndian(end, 0x0605_4B50);
        BinaryPrimitives.WriteUInt16LittleEndian(end[8..], (ushort)entries);
        BinaryPrimitives.WriteUInt16LittleEndian(end[10..], (ushort)entries);
        BinaryPrimitives.WriteInt32LittleEndian(end[12..], centralBytes);
        BinaryPrimitives.WriteInt32LittleEndian(end[16..], centralOffset);
    }

    private static CheckFailedException NotExact(string expected) => new("bundle", expected, "something else");
}
