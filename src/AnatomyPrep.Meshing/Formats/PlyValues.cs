using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>The values of PLY rows one after the other, whatever the encoding.</summary>
internal abstract class PlyValues
{
    /// <exception cref="BadInputException">There is no further value, or it is not a number.</exception>
    internal abstract double Next(PlyScalar type, string field);

    internal abstract void Skip(PlyScalar type, long count);

    /// <summary>Bytes left at most; a list may not ask for more.</summary>
    internal abstract long BytesLeft { get; }

    internal abstract BadInputException Bad(string field, string value);

    /// <summary>The count in front of a list, which the file has room for.</summary>
    internal int ListCount(PlyProperty list)
    {
        var count = Next(list.Count!.Value, list.Name);
        if (!(count >= 0) || count != Math.Floor(count) || count > BytesLeft)
            throw Bad(list.Name, FormattableString.Invariant($"a list of {count} values"));
        return (int)count;
    }

    /// <summary>Passes over one value or one list.</summary>
    internal void Skip(PlyProperty property) => Skip(property.Type, property.IsList ? ListCount(property) : 1);
}

/// <summary>Values written as words.</summary>
internal sealed class PlyTextValues(ByteSource source, TextScanner text) : PlyValues
{
    internal override long BytesLeft => source.Length;

    internal override double Next(PlyScalar type, string field)
    {
        var word = text.Word();
        return DecimalText.TryParse(word, out double value) ? value : throw text.NotA("number", field, word);
    }

    internal override void Skip(PlyScalar type, long count)
    {
        for (var i = 0L; i < count; i++)
            if (text.Word().IsEmpty)
                throw text.NotA("value", "row", default);
    }

    internal override BadInputException Bad(string field, string value) => text.Bad(field, value, "Repair the line or export the file again.");
}

/// <summary>Values of a binary file, through a buffer of fixed size.</summary>
internal sealed class PlyBinaryValues(ByteSource source, RunContext run, long start, bool bigEndian) : PlyValues
{
    private readonly byte[] _buffer = new byte[1 << 16];
    private long _bufferStart = start;
    private int _at;
    private int _end;

    /// <summary>Of the next value in the file.</summary>
    internal long Position => _bufferStart + _at;

    internal override long BytesLeft => source.Length - Position;

    internal override double Next(PlyScalar type, string field)
    {
        var size = type.Size();
        if (_end - _at < size)
            Fill(size);
        var value = type.Decode(_buffer.AsSpan(_at, size), bigEndian);
        _at += size;
        return value;
    }

    internal override void Skip(PlyScalar type, long count)
    {
        var bytes = count * type.Size();
        if (bytes > BytesLeft)
            throw source.Truncated(Position + bytes);
        if (bytes <= _end - _at)
        {
            _at += (int)bytes;
            return;
        }

        _bufferStart = Position + bytes;
        _at = _end = 0;
    }

    internal override BadInputException Bad(string field, string value) => source.Bad(
        FormattableString.Invariant($"byte {Position}, {field}"), value, "The file is damaged or cut short: get it again from where it came.");

    private void Fill(int needed)
    {
        run.ThrowIfCancelled();
        _buffer.AsSpan(_at, _end - _at).CopyTo(_buffer);
        _bufferStart += _at;
        _end -= _at;
        _at = 0;
        _end += source.Read(_bufferStart + _end, _buffer.AsSpan(_end));
        if (_end < needed)
            throw source.Truncated(_bufferStart + needed);
    }
}
