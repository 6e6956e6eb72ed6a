using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>Words of a text file, one after the other, from a buffer of fixed size; knows its line for messages.</summary>
/// <remarks>
/// A word ends at any byte up to and including the space. Lines end with LF, CR LF or CR. A UTF-8 byte order mark is
/// skipped. Memory: one buffer, whatever the file; a word longer than <see cref="LongestWord"/> bytes is refused.
/// </remarks>
internal sealed class TextScanner
{
    internal const int LongestWord = 4096;

    private readonly ByteSource _source;
    private readonly RunContext _run;
    private readonly byte[] _buffer = new byte[1 << 16];
    private int _at;
    private int _end;
    private long _next;

    /// <param name="start">First byte to read.</param>
    /// <param name="line">Number of the line it lies in, 1-based.</param>
    internal TextScanner(ByteSource source, RunContext run, long start = 0, long line = 1)
    {
        _source = source;
        _run = run;
        _next = start;
        Line = line;
        Fill();
        if (start == 0 && _buffer.AsSpan(0, _end).StartsWith("\uFEFF"u8))
            _at = 3;
    }

    /// <summary>Of the last word, 1-based.</summary>
    internal long Line { get; private set; }

    /// <summary>When set, this byte and what follows it on its line are skipped.</summary>
    internal byte? Comment { get; init; }

    /// <summary>When set, a backslash before a line end joins the two lines.</summary>
    internal bool Continuation { get; init; }

    /// <summary>The next word on whatever line; empty at the end of the file. Valid until the next call.</summary>
    internal ReadOnlySpan<byte> Word()
    {
        while (SkipBlanks() && IsLineEnd(_buffer[_at]))
            TakeLineEnd();
        return Take();
    }

    /// <summary>The next word on this line; empty at its end.</summary>
    internal ReadOnlySpan<byte> WordOnLine() => SkipBlanks() && !IsLineEnd(_buffer[_at]) ? Take() : default;

    /// <summary>Goes to the start of the next line; false at the end of the file.</summary>
    internal bool NextLine()
    {
        while (!WordOnLine().IsEmpty)
        {
        }

        if (_at == _end)
            return false;
        TakeLineEnd();
        return true;
    }

    /// <exception cref="BadInputException">The next word is not a finite number, or there is none.</exception>
    internal double Number(string field, bool onLine = false)
    {
        var word = onLine ? WordOnLine() : Word();
        if (!DecimalText.TryParse(word, out double value) || !double.IsFinite(value))
            throw NotA("finite number", field, word);
        return value;
    }

    /// <exception cref="BadInputException">The next word is not a whole number, or there is none.</exception>
    internal long Integer(string field, bool onLine = false)
    {
        var word = onLine ? WordOnLine() : Word();
        return DecimalText.TryParse(word, out long value) ? value : throw NotA("whole number", field, word);
    }

    internal BadInputException NotA(string what, string field, ReadOnlySpan<byte> word) => word.IsEmpty
        ? Bad(field, $"missing where a {what} must be", "The file is cut short or not in the format it claims: get it again from where it came.")
        : Bad(field, $"'{Shown(word)}' where a {what} must be", word.Contains((byte)',')
            ? "Write numbers with a decimal point and blanks between them."
            : "Repair the line or export the file again.");

    internal BadInputException Bad(string field, string value, string remedy) =>
        _source.Bad(FormattableString.Invariant($"line {Line}, {field}"), value, remedy);

    /// <summary>A word as it may stand in a message: short, and printable ASCII only.</summary>
    internal static string Shown(ReadOnlySpan<byte> word)
    {
        var length = Math.Min(word.Length, 24);
        Span<char> shown = stackalloc char[length];
        for (var i = 0; i < length; i++)
            shown[i] = word[i] is > 0x20 and < 0x7F ? (char)word[i] : '?';
        return word.Length > length ? $"{shown}..." : shown.ToString();
    }

    private static bool IsLineEnd(byte b) => b is (byte)'\n' or (byte)'\r';

    // Stands on something that is not a blank, or false at the end of the file.
    private bool SkipBlanks()
    {
        while (true)
        {
            while (_at < _end && _buffer[_at] <= ' ' && !IsLineEnd(_buffer[_at]))
                _at++;

            if (_end - _at < LongestWord && Fill())
                continue;
            if (_at == _end)
                return false;
            if (Comment == _buffer[_at])
                SkipComment();
            else if (!(Continuation && _buffer[_at] == '\\' && TakeContinuation()))
                return true;
        }
    }

    private void SkipComment()
    {
        while (true)
        {
            var found = _buffer.AsSpan(_at, _end - _at).IndexOfAny((byte)'\n', (byte)'\r');
            _at = found < 0 ? _end : _at + found;
            if (found >= 0 || !Fill())
                return;
        }
    }

    private bool TakeContinuation()
    {
        var after = _at + 1;
        while (after < _end && _buffer[after] is (byte)' ' or (byte)'\t')
            after++;
        if (after < _end && !IsLineEnd(_buffer[after]))
            return false;
        _at = after;
        if (_at < _end)
            TakeLineEnd();
        return true;
    }

    private void TakeLineEnd()
    {
        Line++;
        if (_buffer[_at++] == '\r' && (_at < _end || Fill()) && _buffer[_at] == '\n')
            _at++;
    }

    private ReadOnlySpan<byte> Take()
    {
        var start = _at;
        while (_at < _end && _buffer[_at] > ' ' && _buffer[_at] != Comment && !IsContinuation(_at))
            _at++;
        if (_at - start >= LongestWord)
            throw Bad("text", $"a word of {LongestWord} bytes or more", "The file is damaged or not in the format it claims.");
        return _buffer.AsSpan(start, _at - start);
    }

    private bool IsContinuation(int at) =>
        Continuation && _buffer[at] == '\\' && (at + 1 == _end || IsLineEnd(_buffer[at + 1]));

    // Moves the unread rest to the front and reads on; false when nothing came.
    private bool Fill()
    {
        if (_next >= _source.Length)
            return false;
        _run.ThrowIfCancelled();
        _buffer.AsSpan(_at, _end - _at).CopyTo(_buffer);
        _end -= _at;
        _at = 0;
        var read = _source.Read(_next, _buffer.AsSpan(_end));
        _end += read;
        _next += read;
        return read > 0;
    }
}
