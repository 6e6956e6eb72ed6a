using System.Buffers.Binary;
using System.Globalization;
using System.IO.Compression;
using System.Text;
using AnatomyPrep.Imaging.Acquire;

namespace AnatomyPrep.Tests.Imaging.Acquire;

/// <summary>Writes small CT files attribute by attribute, also wrong ones. Every person and number in it is invented.</summary>
internal sealed class TestCt
{
    public const string ExplicitLittle = "1.2.840.10008.1.2.1";
    public const string ImplicitLittle = "1.2.840.10008.1.2";
    public const string ExplicitBig = "1.2.840.10008.1.2.2";
    public const string Deflated = "1.2.840.10008.1.2.1.99";
    public const string Rle = "1.2.840.10008.1.2.5";
    public const int Rows = 6;
    public const int Columns = 8;

    private readonly SortedDictionary<uint, (string Vr, byte[] Value)> _elements = [];

    /// <summary>An axial slice at a height, 16-bit unsigned, stored value = 1000 + index + 100 × number.</summary>
    public static TestCt Slice(int number, double zMm)
    {
        var ct = new TestCt()
            .With(Tag.ImageType, "CS", "ORIGINAL\\PRIMARY\\AXIAL")
            .With(Tag.SopClassUid, "UI", SopClass.Ct)
            .With(Tag.SopInstanceUid, "UI", $"1.2.3.4.5.{number}")
            .With(Tag.Modality, "CS", "CT")
            .With(0x0010_0010, "PN", "Nobody^Invented")
            .With(Tag.PatientId, "LO", "INVENTED-ID-77")
            .With(Tag.StudyInstanceUid, "UI", "1.2.3.4.1")
            .With(Tag.SeriesInstanceUid, "UI", "1.2.3.4.2")
            .With(Tag.InstanceNumber, "IS", Text(number))
            .With(Tag.FrameOfReferenceUid, "UI", "1.2.3.4.3")
            .With(Tag.ImagePosition, "DS", $"-4\\-3\\{Text(zMm)}")
            .With(Tag.ImageOrientation, "DS", "1\\0\\0\\0\\1\\0")
            .With(Tag.PixelSpacing, "DS", "0.5\\0.75")
            .With(Tag.Photometric, "CS", "MONOCHROME2")
            .With(Tag.RescaleIntercept, "DS", "-1024")
            .With(Tag.RescaleSlope, "DS", "1")
            .With(Tag.SamplesPerPixel, 1)
            .With(Tag.Rows, Rows)
            .With(Tag.Columns, Columns)
            .With(Tag.BitsAllocated, 16)
            .With(Tag.BitsStored, 12)
            .With(Tag.HighBit, 11)
            .With(Tag.PixelRepresentation, 0);
        return ct.WithPixels([.. Enumerable.Range(0, Rows * Columns).Select(i => (ushort)(1000 + i + (100 * (number % 10))))]);
    }

    public TestCt With(uint tag, string vr, string text)
    {
        var value = Encoding.ASCII.GetBytes(text.Length % 2 == 0 ? text : text + (vr == "UI" ? '\0' : ' '));
        _elements[tag] = (vr, value);
        return this;
    }

    public TestCt With(uint tag, params int[] values)
    {
        var bytes = new byte[values.Length * 2];
        for (var i = 0; i < values.Length; i++)
            BinaryPrimitives.WriteUInt16LittleEndian(bytes.AsSpan(2 * i), (ushort)values[i]);
        _elements[tag] = ("US", bytes);
        return this;
    }

    public TestCt WithBytes(uint tag, string vr, byte[] value)
    {
        _elements[tag] = (vr, value);
        return this;
    }

    public TestCt WithPixels(ushort[] words) => With(Tag.PixelData, [.. words.Select(w => (int)w)]).Retype(Tag.PixelData, "OW");

    public TestCt Without(uint tag)
    {
        _elements.Remove(tag);
        return this;
    }

    public byte[] Bytes(string syntax = ExplicitLittle, byte[][]? fragments = null)
    {
        var meta = new MemoryStream();
        Element(meta, 0x0002_0010, "UI", Encoding.ASCII.GetBytes(syntax.Length % 2 == 0 ? syntax : syntax + '\0'), false, false);
        var data = new MemoryStream();
        var (implicitVr, big) = (syntax == ImplicitLittle, syntax == ExplicitBig);
        foreach (var (tag, (vr, value)) in _elements)
            if (tag != Tag.PixelData || fragments is null)
                Element(data, tag, vr, big && vr is "US" or "OW" && big ? Swap(value) : value, implicitVr, big);
        if (fragments is not null)
            Fragments(data, fragments);
        var set = data.ToArray();
        return [.. new byte[128], .. "DICM"u8, .. meta.ToArray(), .. syntax == Deflated ? Deflate(set) : set];
    }

    public void Save(string path, string syntax = ExplicitLittle) => File.WriteAllBytes(path, Bytes(syntax));

    /// <summary>Slices 1 mm apart in a folder, changed one by one.</summary>
    public static void SaveSeries(TestFolder folder, int slices, Func<int, TestCt, TestCt>? change = null)
    {
        for (var k = 0; k < slices; k++)
            (change ?? ((_, ct) => ct))(k, Slice(k, k)).Save(folder[FormattableString.Invariant($"s{k:D3}.dcm")]);
    }

    private TestCt Retype(uint tag, string vr)
    {
        _elements[tag] = (vr, _elements[tag].Value);
        return this;
    }

    private static void Element(Stream to, uint tag, string vr, byte[] value, bool implicitVr, bool big)
    {
        U16(to, (int)(tag >> 16), big);
        U16(to, (int)(tag & 0xFFFF), big);
        if (implicitVr)
        {
            U32(to, (uint)value.Length, big);
        }
        else
        {
            to.Write(Encoding.ASCII.GetBytes(vr));
            if (vr is "OW" or "OB" or "SQ" or "UN")
            {
                U16(to, 0, big);
                U32(to, (uint)value.Length, big);
            }
            else
            {
                U16(to, value.Length, big);
            }
        }

        to.Write(value);
    }

    private static void Fragments(Stream to, byte[][] fragments)
    {
        to.Write([0xE0, 0x7F, 0x10, 0x00, (byte)'O', (byte)'B', 0, 0, 0xFF, 0xFF, 0xFF, 0xFF]);
        to.Write([0xFE, 0xFF, 0x00, 0xE0, 0, 0, 0, 0]);
        foreach (var fragment in fragments)
        {
            to.Write([0xFE, 0xFF, 0x00, 0xE0]);
            U32(to, (uint)fragment.Length, false);
            to.Write(fragment);
        }

        to.Write([0xFE, 0xFF, 0xDD, 0xE0, 0, 0, 0, 0]);
    }

    private static byte[] Deflate(byte[] set)
    {
        var packed = new MemoryStream();
        using (var deflater = new DeflateStream(packed, CompressionLevel.Fastest, leaveOpen: true))
            deflater.Write(set);
        return packed.ToArray();
    }

    private static byte[] Swap(byte[] value)
    {
        var swapped = (byte[])value.Clone();
        for (var i = 0; i + 1 < swapped.Length; i += 2)
            (swapped[i], swapped[i + 1]) = (swapped[i + 1], swapped[i]);
        return swapped;
    }

    private static void U16(Stream to, int value, bool big) =>
        to.Write(big ? [(byte)(value >> 8), (byte)value] : [(byte)value, (byte)(value >> 8)]);

    private static void U32(Stream to, uint value, bool big)
    {
        U16(to, (int)(big ? value >> 16 : value & 0xFFFF), big);
        U16(to, (int)(big ? value & 0xFFFF : value >> 16), big);
    }

    private static string Text(double value) => value.ToString(CultureInfo.InvariantCulture);
}
