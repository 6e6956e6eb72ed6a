using System.Runtime.Intrinsics;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Imaging.Segment;

/// <summary>A bit row widened by a run of steps, with room on both sides for bits that leave the row; scratch of one thread.</summary>
/// <remarks>
/// Method: doubling, each shift covering as many steps as the row has been widened by so far. The margins take the bits that leave
///   on one side, so that a run may begin before the row and end behind it. Vectors of four words read one word before each other;
///   shifts by a whole word fall out of the same formula, as a shift of 64 is done as two.
/// Cost: log2(steps) passes over the row. Memory: two rows with margins.
/// </remarks>
internal sealed unsafe class WideRow : IDisposable
{
    private readonly NativeBuffer<ulong> _words;
    private readonly int _row, _margin, _length;
    private ulong* _wide, _next;

    /// <param name="wordsPerRow">64-bit words of a row.</param>
    /// <param name="farthest">No step is longer, to either side.</param>
    public WideRow(int wordsPerRow, int farthest)
    {
        _row = wordsPerRow;
        // One word of whole shift at least, plus the one a vector reads before its own.
        _margin = (farthest / 64) + 2;
        var span = _row + (2 * _margin);
        _length = (span + Vector256<ulong>.Count - 1) / Vector256<ulong>.Count * Vector256<ulong>.Count;
        // What lies before and behind each of the two is read by shifts and stays zero.
        var stride = _length + (2 * Before);
        _words = new NativeBuffer<ulong>(2L * stride, zeroed: true);
        _wide = _words.Pointer + Before;
        _next = _words.Pointer + stride + Before;
    }

    // Words a shift may read outside the row and its margins.
    private int Before => _margin + Vector256<ulong>.Count;

    /// <summary>The row with every bit repeated at the steps from … through.</summary>
    public void Set(ulong* source, int from, int through)
    {
        new Span<ulong>(_next, _length).Clear();
        new ReadOnlySpan<ulong>(source, _row).CopyTo(new Span<ulong>(_next + _margin, _row));
        if (from < 0)
            ShiftDown(_next, _wide, -from);
        else
            ShiftUp(_next, _wide, from, false);
        var width = through - from + 1;
        for (var have = 1; have < width;)
        {
            var step = Math.Min(have, width - have);
            ShiftUp(_wide, _next, step, true);
            var done = _next;
            _next = _wide;
            _wide = done;
            have += step;
        }
    }

    /// <summary>to |= the widened row; bits beyond its words are left out.</summary>
    public void OrInto(ulong* to)
    {
        var from = _wide + _margin;
        var w = 0;
        for (; w <= _row - Vector256<ulong>.Count; w += Vector256<ulong>.Count)
            (Vector256.Load(to + w) | Vector256.Load(from + w)).Store(to + w);
        for (; w < _row; w++)
            to[w] |= from[w];
    }

    public void Dispose() => _words.Dispose();

    // To higher columns; with keep, the bits stay at their old places as well.
    private void ShiftUp(ulong* source, ulong* to, int step, bool keep)
    {
        var (whole, bits) = Math.DivRem(step, 64);
        var stay = keep ? Vector256<ulong>.AllBitsSet : Vector256<ulong>.Zero;
        for (var w = 0; w < _length; w += Vector256<ulong>.Count)
        {
            var high = Vector256.Load(source + w - whole) << bits;
            var low = Vector256.Load(source + w - whole - 1) >> 1 >> (63 - bits);
            (high | low | (Vector256.Load(source + w) & stay)).Store(to + w);
        }
    }

    private void ShiftDown(ulong* source, ulong* to, int step)
    {
        var (whole, bits) = Math.DivRem(step, 64);
        for (var w = 0; w < _length; w += Vector256<ulong>.Count)
        {
            var low = Vector256.Load(source + w + whole) >> bits;
            var high = Vector256.Load(source + w + whole + 1) << 1 << (63 - bits);
            (low | high).Store(to + w);
        }
    }
}
