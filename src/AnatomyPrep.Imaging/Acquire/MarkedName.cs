using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>
/// Marks file names in messages while they are made: people at the screen see the name, a record sees the file's number, because
/// names of files often hold the name of a patient.
/// </summary>
internal static class MarkedName
{
    // Of the private use area: no file system or standard gives them a meaning.
    private const char Begin = '\uE0F0';
    private const char End = '\uE0F1';

    public static string Of(string name) => $"{Begin}{name.Replace(Begin, '?').Replace(End, '?')}{End}";

    /// <summary>With names.</summary>
    public static string Plain(string text) => text.Replace($"{Begin}", "", StringComparison.Ordinal).Replace($"{End}", "", StringComparison.Ordinal);

    public static Finding Plain(Finding finding) => finding with { Message = Plain(finding.Message) };

    public static BadInputException Plain(BadInputException e) =>
        new(Plain(e.File), e.Field, Plain(e.Value), e.Remedy, [.. e.Findings.Select(Plain)]);

    /// <summary>With numbers: a file of the series by its place in the order of slices from 1, any other as "a further file".</summary>
    public static Finding Numbered(Finding finding, IReadOnlyList<SourceFile> files)
    {
        var text = finding.Message;
        for (int begin, end; (begin = text.IndexOf(Begin, StringComparison.Ordinal)) >= 0 && (end = text.IndexOf(End, begin)) > begin;)
        {
            var name = text[(begin + 1)..end];
            var at = files.Select(f => f.Name).ToList().IndexOf(name);
            var said = at < 0 ? "a further file" : FormattableString.Invariant($"file {at + 1}");
            text = $"{text[..begin]}{(begin == 0 ? char.ToUpperInvariant(said[0]) + said[1..] : said)}{text[(end + 1)..]}";
        }

        return finding with { Message = text };
    }
}
