using System.Text;

namespace AnatomyPrep.Imaging.Acquire.Grids;

/// <summary>The text header of NRRD and MetaImage files: lines of a name, a mark and a value.</summary>
/// <param name="Values">By name as the file writes it, in small letters; the last of equal names.</param>
/// <param name="Length">Bytes up to where the samples begin, if they stand in the same file.</param>
internal sealed record TextFields(IReadOnlyDictionary<string, string> Values, int Length)
{
    /// <summary>Longest header that is read.</summary>
    public const int LongestBytes = 64 * 1024;

    /// <summary>One line after the other, without its end; where it ends; null when there is no whole line left.</summary>
    public static (string Line, int Next)? ReadLine(ReadOnlySpan<byte> head, int at)
    {
        var end = head[at..].IndexOf((byte)'\n');
        return end < 0 ? null : (Encoding.Latin1.GetString(head.Slice(at, end)).TrimEnd('\r'), at + end + 1);
    }

    /// <summary>The value without white space around it; null when the file has none.</summary>
    public string? Find(params ReadOnlySpan<string> names)
    {
        foreach (var name in names)
            if (Values.TryGetValue(name, out var value))
                return value;
        return null;
    }

    public static string[] Words(string value) => value.Split([' ', '\t'], StringSplitOptions.RemoveEmptyEntries);
}
