using System.Buffers.Binary;
using System.Globalization;
using System.Text;

namespace AnatomyPrep.Core.Dicom;

/// <summary>Attributes of one object or sequence item, in file order; a value that is set twice keeps the last.</summary>
public sealed class DicomDataSet
{
    private readonly SortedDictionary<DicomTag, DicomElement> _elements = [];

    public IEnumerable<DicomTag> Tags => _elements.Keys;

    public bool Has(DicomTag tag) => _elements.ContainsKey(tag);

    public bool Remove(DicomTag tag) => _elements.Remove(tag);

    /// <summary>Sets a textual value; several values are parted by a backslash, an empty text is an empty value.</summary>
    public DicomDataSet Text(DicomTag tag, Vr vr, string value) =>
        Put(tag, vr, Padded(Encoding.UTF8.GetBytes(value), vr == Vr.UI ? (byte)0 : (byte)' '));

    public DicomDataSet Integer(DicomTag tag, int value) => Text(tag, Vr.IS, value.ToString(CultureInfo.InvariantCulture));

    public DicomDataSet Decimal(DicomTag tag, params ReadOnlySpan<double> values) => Text(tag, Vr.DS, DecimalString.Format(values));

    public DicomDataSet UnsignedShort(DicomTag tag, ushort value)
    {
        var bytes = new byte[2];
        BinaryPrimitives.WriteUInt16LittleEndian(bytes, value);
        return Put(tag, Vr.US, bytes);
    }

    public DicomDataSet SignedShort(DicomTag tag, short value)
    {
        var bytes = new byte[2];
        BinaryPrimitives.WriteInt16LittleEndian(bytes, value);
        return Put(tag, Vr.SS, bytes);
    }

    public DicomDataSet Bytes(DicomTag tag, Vr vr, byte[] value) => Put(tag, vr, Padded(value, 0));

    /// <summary>A long value that is not held in memory; an odd length is padded with a zero.</summary>
    /// <param name="bytes">From where it stands to its end; read when the object is written, and left open.</param>
    public DicomDataSet Bytes(DicomTag tag, Vr vr, Stream bytes)
    {
        _elements[tag] = new DicomElement(vr, [], [], bytes);
        return this;
    }

    public DicomDataSet Sequence(DicomTag tag, params IReadOnlyList<DicomDataSet> items)
    {
        _elements[tag] = new DicomElement(Vr.SQ, [], items, null);
        return this;
    }

    /// <summary>The text of a textual attribute without its padding; null where the attribute is absent.</summary>
    public string? TextOf(DicomTag tag) =>
        _elements.TryGetValue(tag, out var element) ? Encoding.UTF8.GetString(element.Value).TrimEnd(' ', '\0') : null;

    /// <summary>Writes all attributes in order.</summary>
    /// <remarks>Encoding: DICOM PS3.5, 7.1 (elements), 7.5 (sequences, here always with explicit lengths).</remarks>
    internal void WriteTo(Stream to, bool implicitVr)
    {
        foreach (var (tag, element) in _elements)
        {
            if (element.Body is { } body)
            {
                WriteBody(to, tag, element.Vr, body, implicitVr);
                continue;
            }

            var value = element.Vr == Vr.SQ ? EncodeItems(element.Items, implicitVr) : element.Value;
            WriteHeader(to, tag, element.Vr, value.Length, implicitVr);
            to.Write(value);
        }
    }

    private static void WriteBody(Stream to, DicomTag tag, Vr vr, Stream body, bool implicitVr)
    {
        var length = checked((int)(body.Length - body.Position));
        WriteHeader(to, tag, vr, length + (length % 2), implicitVr);
        body.CopyTo(to);
        if (length % 2 != 0)
            to.WriteByte(0);
    }

    private static byte[] EncodeItems(IReadOnlyList<DicomDataSet> items, bool implicitVr)
    {
        using var all = new MemoryStream();
        foreach (var item in items)
        {
            using var one = new MemoryStream();
            item.WriteTo(one, implicitVr);
            WriteNumbers(all, 0xFFFE, 0xE000);
            WriteLength(all, checked((int)one.Length));
            one.WriteTo(all);
        }

        return all.ToArray();
    }

    private static void WriteHeader(Stream to, DicomTag tag, Vr vr, int length, bool implicitVr)
    {
        WriteNumbers(to, tag.Group, tag.Element);
        if (implicitVr)
        {
            WriteLength(to, length);
            return;
        }

        to.Write(Encoding.ASCII.GetBytes(vr.ToString()));
        if (vr is Vr.OB or Vr.OW or Vr.SQ or Vr.UT)
        {
            WriteNumbers(to, 0);
            WriteLength(to, length);
        }
        else if (length <= ushort.MaxValue)
            WriteNumbers(to, (ushort)length);
        else
            throw new InvalidOperationException($"A value of {tag} longer than 65534 bytes needs another value representation.");
    }

    private static void WriteNumbers(Stream to, params ReadOnlySpan<ushort> values)
    {
        Span<byte> bytes = stackalloc byte[2];
        foreach (var value in values)
        {
            BinaryPrimitives.WriteUInt16LittleEndian(bytes, value);
            to.Write(bytes);
        }
    }

    private static void WriteLength(Stream to, int length)
    {
        Span<byte> bytes = stackalloc byte[4];
        BinaryPrimitives.WriteInt32LittleEndian(bytes, length);
        to.Write(bytes);
    }

    private static byte[] Padded(byte[] value, byte padding) => value.Length % 2 == 0 ? value : [.. value, padding];

    private DicomDataSet Put(DicomTag tag, Vr vr, byte[] value)
    {
        _elements[tag] = new DicomElement(vr, value, [], null);
        return this;
    }

    private sealed record DicomElement(Vr Vr, byte[] Value, IReadOnlyList<DicomDataSet> Items, Stream? Body);
}
