using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>Points as text: x y z, or x y z and a normal, on each line; '#' comments; blank lines are passed over.</summary>
/// <remarks>
/// Every line has as many numbers as the first, three or six. Commas are refused, as between numbers they cannot be told
/// from decimal commas. Memory: 24 bytes a point and 12 a normal (twice that while the list grows), for 6 bytes of text or
/// more.
/// </remarks>
internal static class XyzFormat
{
    internal static RawPoints Read(ByteSource source, RunContext run)
    {
        var text = new TextScanner(source, run) { Comment = (byte)'#' };
        source.RequireMemory(run, 3 * source.Length);
        var positions = new List<double>();
        var normals = new List<float>();
        bool? hasNormals = null;
        Span<double> row = stackalloc double[6];
        do
        {
            var count = ReadRow(text, row);
            if (count == 0)
                continue;
            if (count != (hasNormals is null ? count : hasNormals.Value ? 6 : 3) || count is not (3 or 6))
                throw text.Bad("point", FormattableString.Invariant($"{count} numbers"), "Give three or six numbers on every line.");
            hasNormals = count == 6;
            if (positions.Count > Array.MaxLength - 3)
                throw text.Bad("point", "too many points", "Split the file.");
            positions.AddRange(row[..3]);
            for (var i = 3; i < count; i++)
                normals.Add((float)row[i]);
        }
        while (text.NextLine());
        if (positions.Count == 0)
            throw source.Bad("point count", "0", "Give a file that holds points.");
        return new("xyz", [.. positions], hasNormals == true ? [.. normals] : null);
    }

    private static int ReadRow(TextScanner text, Span<double> row)
    {
        var count = 0;
        while (true)
        {
            var word = text.WordOnLine();
            if (word.IsEmpty)
                return count;
            if (count == row.Length)
                throw text.Bad("point", "more than six numbers", "Give three or six numbers on every line.");
            if (!DecimalText.TryParse(word, out row[count]) || !double.IsFinite(row[count]))
                throw text.NotA("finite number", "point", word);
            count++;
        }
    }
}
