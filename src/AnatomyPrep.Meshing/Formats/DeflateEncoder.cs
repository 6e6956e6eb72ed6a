using System.Buffers.Binary;
using System.Numerics;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>Packs bytes as Deflate, with the same result on every machine and every version of the runtime.</summary>
/// <remarks>
/// Format: RFC 1951, blocks with their own codes. Method: greedy LZ77 with one candidate a hash of four bytes (after
///   J. Ziv and A. Lempel, IEEE Trans. Inf. Theory 23, 1977) and Huffman codes (D. Huffman, Proc. IRE 40, 1952) rebuilt
///   with halved counts until they fit. The library's own encoder is not used because its output differs between
///   processors and versions, while the hash of a model file must be the same when the model is made again.
/// Each stretch is packed for itself and ends on a whole byte, so stretches packed by several threads are simply put one
///   after the other, and <see cref="End"/> after the last. Memory: 0.4 MB, and the output.
/// </remarks>
internal sealed class DeflateEncoder
{
    private const int HashBits = 15;
    private const int Window = 1 << 15;
    private const int ShortestMatch = 4;
    private const int LongestMatch = 258;
    private const int TokensPerBlock = 1 << 15;
    private const int EndOfBlock = 256;

    private static readonly byte[] s_codeLengthOrder = [16, 17, 18, 0, 8, 7, 9, 6, 10, 5, 11, 4, 12, 3, 13, 2, 14, 1, 15];
    private static readonly ushort[] s_lengthCode = LengthCodes();

    private readonly int[] _latest = new int[1 << HashBits];
    private readonly uint[] _tokens = new uint[TokensPerBlock];
    private readonly int[] _literalCounts = new int[286];
    private readonly int[] _distanceCounts = new int[30];
    private byte[] _output = new byte[1 << 18];
    private int _length;
    private int _tokenCount;
    private ulong _bits;
    private int _bitCount;

    /// <summary>What closes the whole: a last block with nothing in it.</summary>
    internal static ReadOnlySpan<byte> End => [0x03, 0x00];

    /// <summary>Packs one stretch of at most 1 GiB.</summary>
    internal byte[] Pack(ReadOnlySpan<byte> input)
    {
        _length = 0;
        _latest.AsSpan().Fill(-Window);
        var at = 0;
        while (at < input.Length)
        {
            at = Tokenize(input, at);
            WriteBlock();
        }

        // An empty stored block: its length fields begin on a whole byte.
        WriteBits(0, 3);
        FlushBits();
        ReadOnlySpan<byte> noBytes = [0x00, 0x00, 0xFF, 0xFF];
        noBytes.CopyTo(_output.AsSpan(_length));
        return _output.AsSpan(0, _length + noBytes.Length).ToArray();
    }

    // Literals and matches until the block is full; a match is flagged by the top bit, length above bit 16, distance below.
    private int Tokenize(ReadOnlySpan<byte> input, int at)
    {
        _tokenCount = 0;
        Array.Clear(_literalCounts);
        Array.Clear(_distanceCounts);
        _literalCounts[EndOfBlock] = 1;
        while (at < input.Length && _tokenCount < TokensPerBlock)
        {
            var length = 0;
            if (at + ShortestMatch <= input.Length)
            {
                var four = BinaryPrimitives.ReadUInt32LittleEndian(input[at..]);
                ref var latest = ref _latest[(int)((four * 2654435761u) >> (32 - HashBits))];
                var distance = at - latest;
                if (distance <= Window && latest >= 0)
                    length = MatchLength(input, latest, at);
                latest = at;
                if (length >= ShortestMatch)
                {
                    _tokens[_tokenCount++] = 0x8000_0000 | ((uint)length << 16) | (uint)(distance - 1);
                    _literalCounts[s_lengthCode[length]]++;
                    _distanceCounts[DistanceCode(distance)]++;
                    at += length;
                    continue;
                }
            }

            _literalCounts[input[at]]++;
            _tokens[_tokenCount++] = input[at++];
        }

        return at;
    }

    private static int MatchLength(ReadOnlySpan<byte> input, int from, int at)
    {
        var most = Math.Min(LongestMatch, input.Length - at);
        var length = 0;
        while (length + 8 <= most)
        {
            var differ = BinaryPrimitives.ReadUInt64LittleEndian(input[(from + length)..]) ^ BinaryPrimitives.ReadUInt64LittleEndian(input[(at + length)..]);
            if (differ != 0)
                return length + (BitOperations.TrailingZeroCount(differ) >> 3);
            length += 8;
        }

        while (length < most && input[from + length] == input[at + length])
            length++;
        return length;
    }

    private void WriteBlock()
    {
        // A token takes 48 bits at most; the code lengths 319 times 14.
        var most = _length + (6 * _tokenCount) + 1024;
        if (_output.Length < most)
            Array.Resize(ref _output, Math.Max(most, 2 * _output.Length));
        Span<byte> literalLengths = stackalloc byte[286];
        Span<byte> distanceLengths = stackalloc byte[30];
        HuffmanCode.Lengths(_literalCounts, 15, literalLengths);
        HuffmanCode.Lengths(_distanceCounts, 15, distanceLengths);
        Span<ushort> literalCodes = stackalloc ushort[286];
        Span<ushort> distanceCodes = stackalloc ushort[30];
        HuffmanCode.Codes(literalLengths, literalCodes);
        HuffmanCode.Codes(distanceLengths, distanceCodes);
        WriteBits(0b100, 3);
        WriteLengths(literalLengths, distanceLengths);
        foreach (var token in _tokens.AsSpan(0, _tokenCount))
        {
            if (token < 0x8000_0000)
            {
                WriteBits(literalCodes[(int)token], literalLengths[(int)token]);
                continue;
            }

            // Code and extra bits together: 20 bits at most for a length, 28 for a distance.
            var length = (int)(token >> 16) & 0x7FFF;
            int code = s_lengthCode[length];
            var (start, extra) = LengthRange(code);
            WriteBits(literalCodes[code] | ((uint)(length - start) << literalLengths[code]), literalLengths[code] + extra);
            var distance = (int)(token & 0xFFFF) + 1;
            code = DistanceCode(distance);
            (start, extra) = DistanceRange(code);
            WriteBits(distanceCodes[code] | ((uint)(distance - start) << distanceLengths[code]), distanceLengths[code] + extra);
        }

        WriteBits(literalCodes[EndOfBlock], literalLengths[EndOfBlock]);
    }

    // Code lengths of both alphabets, run-length coded, themselves in a Huffman code (RFC 1951, 3.2.7).
    private void WriteLengths(ReadOnlySpan<byte> literals, ReadOnlySpan<byte> distances)
    {
        var literalCount = Math.Max(257, literals.LastIndexOfAnyExcept((byte)0) + 1);
        var distanceCount = Math.Max(1, distances.LastIndexOfAnyExcept((byte)0) + 1);
        Span<byte> all = stackalloc byte[286 + 30];
        literals[..literalCount].CopyTo(all);
        distances[..distanceCount].CopyTo(all[literalCount..]);
        Span<(byte Symbol, byte Extra)> runs = stackalloc (byte, byte)[286 + 30];
        var runCount = RunLengths(all[..(literalCount + distanceCount)], runs);
        Span<int> counts = stackalloc int[19];
        foreach (var (symbol, _) in runs[..runCount])
            counts[symbol]++;
        Span<byte> lengths = stackalloc byte[19];
        Span<ushort> codes = stackalloc ushort[19];
        HuffmanCode.Lengths(counts, 7, lengths);
        HuffmanCode.Codes(lengths, codes);
        var sent = 19;
        while (sent > 4 && lengths[s_codeLengthOrder[sent - 1]] == 0)
            sent--;
        WriteBits((uint)(literalCount - 257), 5);
        WriteBits((uint)(distanceCount - 1), 5);
        WriteBits((uint)(sent - 4), 4);
        for (var i = 0; i < sent; i++)
            WriteBits(lengths[s_codeLengthOrder[i]], 3);
        foreach (var (symbol, extra) in runs[..runCount])
        {
            WriteBits(codes[symbol], lengths[symbol]);
            if (symbol >= 16)
                WriteBits(extra, symbol == 16 ? 2 : symbol == 17 ? 3 : 7);
        }
    }

    private static int RunLengths(ReadOnlySpan<byte> lengths, Span<(byte Symbol, byte Extra)> runs)
    {
        var count = 0;
        for (var i = 0; i < lengths.Length;)
        {
            var run = 1;
            while (i + run < lengths.Length && lengths[i + run] == lengths[i])
                run++;
            if (lengths[i] == 0 && run >= 3)
            {
                run = Math.Min(run, 138);
                runs[count++] = run <= 10 ? ((byte)17, (byte)(run - 3)) : ((byte)18, (byte)(run - 11));
            }
            else if (lengths[i] != 0 && run >= 4)
            {
                run = Math.Min(run, 7);
                runs[count++] = (lengths[i], 0);
                runs[count++] = (16, (byte)(run - 4));
            }
            else
            {
                run = 1;
                runs[count++] = (lengths[i], 0);
            }

            i += run;
        }

        return count;
    }

    // Whole bytes go out as soon as there are any; the eight written cover what follows later.
    private void WriteBits(uint value, int count)
    {
        _bits |= (ulong)value << _bitCount;
        _bitCount += count;
        BinaryPrimitives.WriteUInt64LittleEndian(_output.AsSpan(_length), _bits);
        _length += _bitCount >> 3;
        _bits >>= _bitCount & ~7;
        _bitCount &= 7;
    }

    private void FlushBits()
    {
        if (_bitCount > 0)
            WriteBits(0, 8 - _bitCount);
    }

    // Codes 257 to 264 stand for lengths 3 to 10; then four codes for each number of extra bits; 285 for 258 alone.
    private static (int Base, int Extra) LengthRange(int code)
    {
        if (code == 285)
            return (258, 0);
        var i = code - 257;
        return i < 8 ? (i + 3, 0) : (3 + ((4 + (i & 3)) << ((i >> 2) - 1)), (i >> 2) - 1);
    }

    // Codes 0 to 3 stand for distances 1 to 4; then two codes for each number of extra bits.
    private static (int Base, int Extra) DistanceRange(int code) =>
        code < 4 ? (code + 1, 0) : (1 + ((2 + (code & 1)) << ((code >> 1) - 1)), (code >> 1) - 1);

    private static int DistanceCode(int distance)
    {
        if (distance <= 4)
            return distance - 1;
        var top = BitOperations.Log2((uint)(distance - 1));
        return (2 * top) + (((distance - 1) >> (top - 1)) & 1);
    }

    private static ushort[] LengthCodes()
    {
        var codes = new ushort[LongestMatch + 1];
        for (ushort code = 257; code <= 285; code++)
        {
            var (start, extra) = LengthRange(code);
            for (var length = start; length < start + (1 << extra) && length <= LongestMatch; length++)
                codes[length] = code;
        }

        return codes;
    }
}
