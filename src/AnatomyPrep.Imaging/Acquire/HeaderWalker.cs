using System.Buffers.Binary;
using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>
/// Walks a DICOM file element by element up to its pixel data and keeps the few attributes of <see cref="Tag"/>.
/// </summary>
/// <remarks>
/// Encodings: DICOM PS3.10 section 7 (file meta information); PS3.5 sections 7.1 (explicit and implicit VR), 7.5
/// (nested sequences), 6.2.2 note on UN of undefined length (implicit VR inside), A.4 (encapsulated pixel data).
/// Safe on untrusted input: no recursion (32 levels on a stack of its own), at most 4 million elements and
/// 200,000 fragments, every declared length checked against its enclosing item and against the file before it is
/// believed, values above 16 KB never loaded. A broken file gives a header with <see cref="DicomHeader.Fault"/> set, and
/// what stood before the break; nothing throws but I/O errors.
/// Cost: O(elements); reads 32 KB of a typical slice.
/// </remarks>
internal sealed class HeaderWalker
{
    private const uint UndefinedLength = 0xFFFF_FFFF;
    private const uint Item = 0xFFFE_E000;
    private const uint ItemEnd = 0xFFFE_E00D;
    private const uint SequenceEnd = 0xFFFE_E0DD;
    private const int DeepestNesting = 32;
    private const int MostElements = 4_000_000;
    private const int MostFragments = 200_000;
    private const int MostFrames = 65_536;
    private const int MostRecords = 200_000;
    private const long LargestInflatedBytes = 256L << 20;
    private const int PreambleBytes = 128;

    private static readonly HashSet<ushort> s_shortVrs =
        [.. "AE AS AT CS DA DS DT FD FL IS LO LT PN SH SL SS ST TM UI UL US".Split(' ').Select(v => (ushort)((v[0] << 8) | v[1]))];

    private readonly DicomHeader _header = new();
    private readonly Stack<Level> _levels = new();
    private ByteSource _data;
    private long _at;
    private bool _implicit;
    private bool _big;

    private readonly bool _identify;

    private HeaderWalker(ByteSource data, bool identify) => (_data, _identify) = (data, identify);

    /// <summary>Walks <paramref name="file"/>; see the remarks for what happens to a broken one.</summary>
    /// <param name="identify">Also keep what says who the patient is.</param>
    public static DicomHeader Read(ByteSource file, bool identify = false)
    {
        var walker = new HeaderWalker(file, identify);
        try
        {
            walker.Walk();
        }
        catch (BrokenFileException e)
        {
            walker._header.Fault = e.Fault;
        }

        walker._header.Data = walker._data;
        return walker._header;
    }

    private void Walk()
    {
        FindStart();
        ReadMeta();
        if (_header.Syntax.Deflated)
            Inflate();
        _implicit = _header.Syntax.ImplicitVr;
        _big = _header.Syntax.BigEndian;
        _levels.Push(new Level(Kind.DataSet, 0, _data.Length, Ends: true, _implicit, _big, _header.Elements));
        for (var elements = 0; Step(); elements++)
            if (elements > MostElements)
                throw Broken("file", "more than 4 million elements");
    }

    /// <summary>Skips the preamble. A file without the mark must begin like a data set, or it is not DICOM at all.</summary>
    private void FindStart()
    {
        if (_data.Read(PreambleBytes, 4).SequenceEqual("DICM"u8))
            (_at, _header.HasMark) = (PreambleBytes + 4, true);
        else if (_data.Read(0, 4).SequenceEqual("DICM"u8))
            (_at, _header.HasMark) = (4, true);
        else if (_data.Read(0, 4).SequenceEqual("PK\x03\x04"u8))
            throw new BrokenFileException(new Fault(FindingCodes.FileNotDicom, "file", "an archive, which is not opened within another source", "Give it by itself, or unpack it."));
        else if (!LooksLikeDataSet())
            throw new BrokenFileException(new Fault(FindingCodes.FileNotDicom, "file", "not a DICOM file", "Give the folder of one CT series."));
    }

    private bool LooksLikeDataSet()
    {
        var head = _data.Read(0, 8);
        if (head.IsEmpty)
            return false;
        var little = BinaryPrimitives.ReadUInt16LittleEndian(head);
        return little is 0x0002 or 0x0008 || BinaryPrimitives.ReadUInt16BigEndian(head) == 0x0008;
    }

    /// <summary>Group 0002 is always explicit little endian; its declared length is not trusted, the group number is.</summary>
    private void ReadMeta()
    {
        while (true)
        {
            var head = _data.Read(_at, 8);
            if (head.IsEmpty || BinaryPrimitives.ReadUInt16LittleEndian(head) != 0x0002)
                break;
            var (tag, length, valueAt, _) = ReadElementHead(_levels.Count);
            if (length == UndefinedLength || length > _data.Length - valueAt)
                throw Truncated(tag);
            Keep(_header.Elements, tag, valueAt, length);
            _at = valueAt + length;
        }

        if (_header.Elements.TryGetValue(Tag.TransferSyntaxUid, out var uid) && HeaderText.Uid(uid) is { } name)
            (_header.Syntax, _header.HasMeta) = (TransferSyntax.Find(name), true);
        else
            _header.Syntax = GuessSyntax();
    }

    private TransferSyntax GuessSyntax()
    {
        var head = _data.Read(_at, 8);
        if (head.IsEmpty)
            return TransferSyntax.ExplicitLittle;
        var letters = IsLetter(head[4]) && IsLetter(head[5]);
        if (letters && BinaryPrimitives.ReadUInt16BigEndian(head) < 0x0100)
            return TransferSyntax.ExplicitBig;
        return letters ? TransferSyntax.ExplicitLittle : TransferSyntax.ImplicitLittle;
    }

    private void Inflate()
    {
        try
        {
            using var rest = new SourceStream(_data, _at);
            _data = MemoryBytes.Inflate(rest, LargestInflatedBytes);
            _at = 0;
        }
        catch (InvalidDataException)
        {
            throw Broken("deflated data set", "cannot be inflated");
        }
    }

    /// <summary>Reads one element, item or delimiter; false at the end of the data set or once the pixel data is found.</summary>
    private bool Step()
    {
        var level = _levels.Peek();
        if (_at == level.End && level.Ends)
        {
            _levels.Pop();
            Enter();
            return _levels.Count > 0;
        }

        var (tag, length, valueAt, vr) = ReadElementHead(_levels.Count);
        if (valueAt > level.End)
            throw Truncated(tag);
        if (tag is Item or ItemEnd or SequenceEnd)
            return StepDelimiter(level, tag, length, valueAt);
        if (level.Kind == Kind.Sequence)
            throw Broken($"sequence {Tag.Name(level.Tag)}", "holds something other than items");
        if (tag == Tag.PixelData && level.Kind == Kind.DataSet)
        {
            _header.Pixels = length == UndefinedLength ? WalkFragments(valueAt) : new PixelBytes(new(valueAt, length), [], []);
            return false;
        }

        if (length == UndefinedLength)
            Push(level, tag, vr, level.End, ends: false, valueAt);
        else if (length > level.End - valueAt)
            throw level.Kind == Kind.DataSet ? Truncated(tag) : Broken(Tag.Name(tag), "longer than the item that holds it");
        else if (IsWalkedSequence(level, tag))
            Push(level, tag, vr, valueAt + length, ends: true, valueAt);
        else
        {
            if (level.Capture is { } capture)
                Keep(capture, tag, valueAt, length);
            _at = valueAt + length;
        }

        return true;
    }

    private bool StepDelimiter(Level level, uint tag, uint length, long valueAt)
    {
        if (tag == Item && level.Kind == Kind.Sequence)
        {
            if (length != UndefinedLength && length > level.End - valueAt)
                throw level.Tag == 0 ? Truncated(tag) : Broken($"sequence {Tag.Name(level.Tag)}", "has an item longer than itself");
            PushItem(level, length, valueAt);
            return true;
        }

        var closes = tag == ItemEnd ? Kind.Item : Kind.Sequence;
        if (tag == Item || level.Kind != closes || level.Ends)
            throw Broken("sequence", "has a delimiter out of place");
        _levels.Pop();
        Enter();
        _at = valueAt;
        return true;
    }

    /// <summary>Sequences of known length are skipped whole unless they lead to attributes of a frame.</summary>
    private static bool IsWalkedSequence(Level level, uint tag) => level.Kind == Kind.DataSet
        ? tag is Tag.SharedGroups or Tag.PerFrameGroups or Tag.DirectoryRecords
        : level.Capture is not null && Tag.IsMacro(tag);

    private void Push(Level level, uint tag, ushort vr, long end, bool ends, long valueAt)
    {
        // Undefined length is allowed for sequences, and for UN, whose content is then implicit VR little endian.
        const ushort sq = ('S' << 8) | 'Q', un = ('U' << 8) | 'N';
        if (!_implicit && vr is not (sq or un))
            throw Broken(Tag.Name(tag), "has no length");
        if (_levels.Count >= DeepestNesting)
            throw Broken("sequence", "is nested deeper than 32 levels");
        var capture = level.Kind == Kind.DataSet
            ? tag == Tag.SharedGroups ? _header.Shared : null
            : Tag.IsMacro(tag) ? level.Capture : null;
        var unknown = vr == un && !ends;
        _levels.Push(new Level(Kind.Sequence, tag, end, ends, _implicit || unknown, _big && !unknown, capture));
        _at = valueAt;
        Enter();
    }

    private void PushItem(Level sequence, uint length, long valueAt)
    {
        if (_levels.Count >= DeepestNesting)
            throw Broken("sequence", "is nested deeper than 32 levels");
        var capture = sequence.Capture;
        if (sequence.Tag == Tag.PerFrameGroups && _levels.Count == 2)
        {
            if (_header.Frames.Count >= MostFrames)
                throw Broken(Tag.Name(Tag.PerFrameGroups), "has more than 65,536 items");
            _header.Frames.Add(capture = []);
        }

        if (sequence.Tag == Tag.DirectoryRecords && _levels.Count == 2)
        {
            if (_header.Records.Count >= MostRecords)
                throw Broken(Tag.Name(Tag.DirectoryRecords), "has more than 200,000 items");
            _header.Records.Add(capture = []);
        }

        var ends = length != UndefinedLength;
        _levels.Push(new Level(Kind.Item, sequence.Tag, ends ? valueAt + length : sequence.End, ends, sequence.ImplicitVr, sequence.BigEndian, capture));
        _at = valueAt;
        Enter();
    }

    private void Enter()
    {
        if (_levels.TryPeek(out var level))
            (_implicit, _big) = (level.ImplicitVr, level.BigEndian);
    }

    /// <summary>The items of encapsulated pixel data: an offset table, then fragments, then a delimiter.</summary>
    private PixelBytes WalkFragments(long at)
    {
        var fragments = new List<ByteRange>();
        uint[]? table = null;
        while (true)
        {
            var head = _data.Read(at, 8);
            if (head.IsEmpty)
                throw TruncatedPixels(fragments.Count);
            var tag = ((uint)ReadU16(head) << 16) | ReadU16(head[2..]);
            var length = ReadU32(head[4..]);
            at += 8;
            if (tag == SequenceEnd)
                return new PixelBytes(null, fragments, table ?? []);
            if (tag != Item || length == UndefinedLength)
                throw Broken(Tag.Name(Tag.PixelData), "has a broken list of fragments");
            if (length > _data.Length - at)
                throw TruncatedPixels(fragments.Count);
            if (fragments.Count >= MostFragments)
                throw Broken(Tag.Name(Tag.PixelData), "has more than 200,000 fragments");
            if (table is null)
                table = ReadOffsets(at, length);
            else
                fragments.Add(new(at, length));
            at += length;
        }
    }

    private uint[] ReadOffsets(long at, uint length)
    {
        if (length % 4 != 0 || length / 4 > MostFrames)
            throw Broken("Basic Offset Table", FormattableString.Invariant($"{length} bytes long"));
        var table = new uint[length / 4];
        for (var i = 0; i < table.Length; i++)
            table[i] = ReadU32(_data.Read(at + (4L * i), 4));
        return table;
    }

    private (uint Tag, uint Length, long ValueAt, ushort Vr) ReadElementHead(int depth)
    {
        var head = _data.Read(_at, 8);
        if (head.IsEmpty)
            throw new BrokenFileException(new Fault(FindingCodes.FileTruncated, "file", FormattableString.Invariant($"ends inside an attribute, after {_data.Length} bytes"), Resend));
        var meta = depth == 0;
        var tag = ((uint)ReadU16(head, meta) << 16) | ReadU16(head[2..], meta);
        if (tag >> 16 == 0xFFFE || (_implicit && !meta))
            return (tag, ReadU32(head[4..], meta), _at + 8, 0);
        if (!IsLetter(head[4]) || !IsLetter(head[5]))
            throw Broken(Tag.Name(tag), FormattableString.Invariant($"has no value representation, {_at} bytes into the data set"));
        var vr = (ushort)((head[4] << 8) | head[5]);
        if (!IsLong(vr))
            return (tag, ReadU16(head[6..], meta), _at + 8, vr);
        var more = _data.Read(_at + 8, 4);
        return more.IsEmpty ? throw Truncated(tag) : (tag, ReadU32(more, meta), _at + 12, vr);
    }

    /// <summary>The representations with a 16-bit length field (PS3.5 table 7.1-2); every other one, also unknown, has 32 bits.</summary>
    private static bool IsLong(ushort vr) => !s_shortVrs.Contains(vr);

    private void Keep(Dictionary<uint, byte[]> into, uint tag, long at, uint length)
    {
        if (length > ByteSource.LargestRead)
            return;
        // Of identifiers within sequences (of other patients, of requests) none is this patient's.
        if (_identify && Tag.IsIdentifier(tag) && ReferenceEquals(into, _header.Elements))
            _header.Identifiers[tag] = _data.Read(at, (int)length).ToArray();
        if (!Tag.IsRead(tag))
            return;
        var value = _data.Read(at, (int)length).ToArray();
        if (!into.TryAdd(tag, value) && !into[tag].AsSpan().SequenceEqual(value))
            throw Broken(Tag.Name(tag), "stands twice with different values");
    }

    private ushort ReadU16(ReadOnlySpan<byte> at, bool meta = false) => _big && !meta
        ? BinaryPrimitives.ReadUInt16BigEndian(at)
        : BinaryPrimitives.ReadUInt16LittleEndian(at);

    private uint ReadU32(ReadOnlySpan<byte> at, bool meta = false) => _big && !meta
        ? BinaryPrimitives.ReadUInt32BigEndian(at)
        : BinaryPrimitives.ReadUInt32LittleEndian(at);

    private static bool IsLetter(byte b) => b is >= (byte)'A' and <= (byte)'Z';

    private const string Resend = "Send this file again from its source.";

    private static BrokenFileException Broken(string field, string value) =>
        new(new Fault(FindingCodes.FileUnreadable, field, value, Resend));

    private BrokenFileException Truncated(uint tag) =>
        new(new Fault(FindingCodes.FileTruncated, Tag.Name(tag), FormattableString.Invariant($"runs beyond the end of the file, {_data.Length} bytes"), Resend));

    private static BrokenFileException TruncatedPixels(int whole) =>
        new(new Fault(FindingCodes.FileTruncated, Tag.Name(Tag.PixelData), FormattableString.Invariant($"the file ends after {whole} whole fragments"), Resend));

    private enum Kind
    {
        DataSet,
        Sequence,
        Item,
    }

    /// <param name="End">First byte that cannot belong to this level: its own end, or that of the level around it.</param>
    /// <param name="Ends">The level ends at <paramref name="End"/>; otherwise a delimiter ends it.</param>
    /// <param name="Capture">Where attributes found here go; null where they are of no use.</param>
    private sealed record Level(Kind Kind, uint Tag, long End, bool Ends, bool ImplicitVr, bool BigEndian, Dictionary<uint, byte[]>? Capture);

    private sealed class BrokenFileException(Fault fault) : Exception
    {
        public Fault Fault { get; } = fault;
    }

    /// <summary>The rest of a source as a stream, for the inflater.</summary>
    private sealed class SourceStream(ByteSource source, long at) : Stream
    {
        public override bool CanRead => true;

        public override bool CanSeek => false;

        public override bool CanWrite => false;

        public override long Length => throw new NotSupportedException();

        public override long Position
        {
            get => throw new NotSupportedException();
            set => throw new NotSupportedException();
        }

        public override int Read(byte[] buffer, int offset, int count) => Read(buffer.AsSpan(offset, count));

        public override int Read(Span<byte> buffer)
        {
            var n = (int)Math.Min(Math.Min(buffer.Length, ByteSource.LargestRead), source.Length - at);
            source.Read(at, n).CopyTo(buffer);
            at += n;
            return n;
        }

        public override void Flush()
        {
        }

        public override long Seek(long offset, SeekOrigin origin) => throw new NotSupportedException();

        public override void SetLength(long value) => throw new NotSupportedException();

        public override void Write(byte[] buffer, int offset, int count) => throw new NotSupportedException();
    }
}
