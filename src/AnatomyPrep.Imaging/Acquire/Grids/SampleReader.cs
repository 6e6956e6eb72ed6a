using System.Buffers.Binary;
using System.IO.Compression;
using System.Numerics;
using System.Runtime.InteropServices;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Imaging.Acquire.Grids;

/// <summary>What the samples of a volume file hold, counted while they are read.</summary>
internal sealed record SampleCounts
{
    public short MinHu { get; set; } = short.MaxValue;

    public short MaxHu { get; set; } = short.MinValue;

    /// <summary>Largest distance between the value and the whole number kept for it.</summary>
    public double LargestRoundingHu { get; set; }

    /// <summary>Outside int16, set to its nearest end.</summary>
    public long Clamped { get; set; }

    /// <summary>Not a number or infinite, set to <see cref="SampleReader.NoDataHu"/>.</summary>
    public long NotNumbers { get; set; }

    /// <summary>Something follows the last sample.</summary>
    public bool HasMore { get; set; }
}

/// <summary>Reads the samples of a volume file into HU, slice by slice.</summary>
/// <remarks>
/// All formats here are the same then: a stream of numbers, columns fastest. Memory: the volume, and the bytes of one slice.
/// A compressed stream is unpacked no further than the header asks for, and refused beforehand when it is too small to
/// hold that much: DEFLATE packs at most 1,032 to 1 (RFC 1951: 258 bytes in 2 bits).
/// </remarks>
internal sealed class SampleReader(GridHeader header, string name, RunContext run)
{
    public const short NoDataHu = -1024;
    private const int BestDeflateRatio = 1032;
    private const int LongestNumber = 64;
    private const string Again = "Send the file again from its source.";

    private readonly SampleCounts _counts = new();
    private readonly byte[] _one = new byte[1];

    /// <param name="reverse">Slices go into the buffer in reverse order.</param>
    /// <exception cref="BadInputException">Samples are missing, or the packing is broken.</exception>
    public SampleCounts Read(HashedFile file, NativeBuffer<short> into, bool reverse)
    {
        CheckSize(file.Length);
        try
        {
            Skip(file, header.Data.FileOffset >= 0 ? header.Data.FileOffset : file.Length - (header.Samples * header.BytesPerSample));
            using var unpacked = Unpack(file);
            Skip(unpacked, header.Data.InnerOffset);
            ReadSlices(unpacked, into, reverse);
            _counts.HasMore = header.Data.Packing != Packing.Text && unpacked.Read(_one) > 0;
        }
        catch (InvalidDataException)
        {
            throw Bad("the compressed stream is broken");
        }

        return _counts;
    }

    /// <exception cref="BadInputException">A file of this size cannot hold the samples its header states.</exception>
    public void CheckSize(long fileBytes)
    {
        var needed = header.Samples * header.BytesPerSample;
        var there = fileBytes - Math.Max(0, header.Data.FileOffset);
        switch (header.Data.Packing)
        {
            case Packing.Raw when there - header.Data.InnerOffset < needed:
                throw Bad(FormattableString.Invariant($"{Math.Max(0, there)} of the {needed} bytes that its sizes need"));
            case Packing.Text when there < (2 * header.Samples) - 1:
                throw Bad(FormattableString.Invariant($"{Math.Max(0, there)} bytes of text for {header.Samples} numbers"));
            case Packing.Gzip or Packing.Zlib when (there * BestDeflateRatio) < needed:
                throw Bad(FormattableString.Invariant($"{Math.Max(0, there)} compressed bytes, too few for the {needed} bytes that its sizes need"));
        }
    }

    private BadInputException Bad(string value) => new(name, "samples", value, Again);

    private Stream Unpack(HashedFile file) => header.Data.Packing switch
    {
        Packing.Gzip => new GZipStream(file, CompressionMode.Decompress, leaveOpen: true),
        Packing.Zlib => new ZLibStream(file, CompressionMode.Decompress, leaveOpen: true),
        _ => new BufferedStream(new KeptOpen(file), 1 << 16),
    };

    private void Skip(Stream stream, long bytes)
    {
        var block = new byte[(int)Math.Min(1 << 16, Math.Max(1, bytes))];
        for (int n; bytes > 0; bytes -= n)
            if ((n = stream.Read(block.AsSpan(0, (int)Math.Min(block.Length, bytes)))) == 0)
                throw Bad("the file ends before they begin");
    }

    private void ReadSlices(Stream stream, NativeBuffer<short> into, bool reverse)
    {
        var samples = checked(header.Columns * header.Rows);
        var bytes = header.Data.Packing == Packing.Text ? [] : new byte[checked(samples * header.BytesPerSample)];
        for (var k = 0; k < header.Slices; k++)
        {
            run.ThrowIfCancelled();
            run.Report("acquire", "reading samples", (double)k / header.Slices);
            var hu = into.Span((long)(reverse ? header.Slices - 1 - k : k) * samples, samples);
            if (header.Data.Packing == Packing.Text)
            {
                ReadNumbers(stream, hu, k);
            }
            else
            {
                var filled = stream.ReadAtLeast(bytes, bytes.Length, throwOnEndOfStream: false);
                if (filled < bytes.Length)
                    throw Bad(FormattableString.Invariant($"end in slice {k} of {header.Slices}"));
                Convert(bytes, hu);
            }

            Note(hu);
        }

        run.Report("acquire", "reading samples", 1);
    }

    private void Note(ReadOnlySpan<short> hu)
    {
        var (min, max) = (_counts.MinHu, _counts.MaxHu);
        foreach (var h in hu)
        {
            min = Math.Min(min, h);
            max = Math.Max(max, h);
        }

        (_counts.MinHu, _counts.MaxHu) = (min, max);
    }

    private void ReadNumbers(Stream stream, Span<short> hu, int slice)
    {
        Span<byte> word = stackalloc byte[LongestNumber];
        foreach (ref var h in hu)
        {
            var length = 0;
            int b;
            while ((b = stream.ReadByte()) >= 0 && (length == 0 || b > ' '))
            {
                if (b <= ' ')
                    continue;
                if (length == LongestNumber)
                    throw Bad("a number of more than 64 characters");
                word[length++] = (byte)b;
            }

            if (length == 0)
                throw Bad(FormattableString.Invariant($"end in slice {slice} of {header.Slices}"));
            if (!double.TryParse(word[..length], System.Globalization.NumberStyles.Float, System.Globalization.CultureInfo.InvariantCulture, out var value))
                throw Bad("a word that is no number");
            h = ToHu(value);
        }
    }

    private void Convert(Span<byte> bytes, Span<short> hu)
    {
        switch (header.BytesPerSample)
        {
            case 2 when header.BigEndian:
                BinaryPrimitives.ReverseEndianness(MemoryMarshal.Cast<byte, short>(bytes), MemoryMarshal.Cast<byte, short>(bytes));
                break;
            case 4 when header.BigEndian:
                BinaryPrimitives.ReverseEndianness(MemoryMarshal.Cast<byte, int>(bytes), MemoryMarshal.Cast<byte, int>(bytes));
                break;
            case 8 when header.BigEndian:
                BinaryPrimitives.ReverseEndianness(MemoryMarshal.Cast<byte, long>(bytes), MemoryMarshal.Cast<byte, long>(bytes));
                break;
        }

        switch (header.Type)
        {
            case SampleType.Int16 when header.Slope == 1 && header.Intercept == 0:
                MemoryMarshal.Cast<byte, short>(bytes).CopyTo(hu);
                break;
            case SampleType.Int8:
                Convert<sbyte>(bytes, hu);
                break;
            case SampleType.UInt8:
                Convert<byte>(bytes, hu);
                break;
            case SampleType.Int16:
                Convert<short>(bytes, hu);
                break;
            case SampleType.UInt16:
                Convert<ushort>(bytes, hu);
                break;
            case SampleType.Int32:
                Convert<int>(bytes, hu);
                break;
            case SampleType.UInt32:
                Convert<uint>(bytes, hu);
                break;
            case SampleType.Int64:
                Convert<long>(bytes, hu);
                break;
            case SampleType.UInt64:
                Convert<ulong>(bytes, hu);
                break;
            case SampleType.Float32:
                Convert<float>(bytes, hu);
                break;
            default:
                Convert<double>(bytes, hu);
                break;
        }
    }

    private void Convert<T>(ReadOnlySpan<byte> bytes, Span<short> hu)
        where T : unmanaged, INumber<T>
    {
        var stored = MemoryMarshal.Cast<byte, T>(bytes);
        for (var i = 0; i < hu.Length; i++)
            hu[i] = ToHu(double.CreateTruncating(stored[i]));
    }

    private short ToHu(double stored)
    {
        var exact = (stored * header.Slope) + header.Intercept;
        if (!double.IsFinite(exact))
        {
            _counts.NotNumbers++;
            return NoDataHu;
        }

        var whole = Math.Round(exact, MidpointRounding.ToEven);
        _counts.LargestRoundingHu = Math.Max(_counts.LargestRoundingHu, Math.Abs(exact - whole));
        if (whole is >= short.MinValue and <= short.MaxValue)
            return (short)whole;
        _counts.Clamped++;
        return whole < 0 ? short.MinValue : short.MaxValue;
    }

    /// <summary>Lets a reader of the stream be disposed while the file, with its hash, goes on.</summary>
    private sealed class KeptOpen(Stream inner) : Stream
    {
        public override bool CanRead => true;

        public override bool CanSeek => false;

        public override bool CanWrite => false;

        public override long Length => inner.Length;

        public override long Position
        {
            get => inner.Position;
            set => throw new NotSupportedException();
        }

        public override int Read(Span<byte> buffer) => inner.Read(buffer);

        public override int Read(byte[] buffer, int offset, int count) => inner.Read(buffer, offset, count);

        public override void Flush()
        {
        }

        public override long Seek(long offset, SeekOrigin origin) => throw new NotSupportedException();

        public override void SetLength(long value) => throw new NotSupportedException();

        public override void Write(byte[] buffer, int offset, int count) => throw new NotSupportedException();
    }
}
