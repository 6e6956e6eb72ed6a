using System.Text;
using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.Service.Requests;

/// <summary>A table with a row of names first, as RFC 4180 has it; semicolons too, which many spreadsheets write.</summary>
/// <param name="Columns">Names, in small letters.</param>
/// <param name="Rows">Values and the line each row begins on.</param>
internal sealed record CsvTable(IReadOnlyList<string> Columns, IReadOnlyList<(int Line, IReadOnlyList<string> Values)> Rows)
{
    private const int MostFields = 40;

    /// <exception cref="BadInputException">Not such a table.</exception>
    public static CsvTable Read(byte[] bytes, int mostRows)
    {
        string text;
        try
        {
            text = new UTF8Encoding(false, throwOnInvalidBytes: true).GetString(bytes).TrimStart('\uFEFF');
        }
        catch (DecoderFallbackException)
        {
            throw Wrong("text", "not UTF-8", "Save the table as CSV in UTF-8.");
        }

        var firstLine = text.AsSpan(0, text.IndexOf('\n') is >= 0 and var end ? end : text.Length);
        var rows = Split(text, firstLine.Contains(';') && !firstLine.Contains(',') ? ';' : ',').Where(r => r.Values.Any(v => v.Length > 0)).Take(mostRows + 2).ToArray();
        if (rows.Length == 0)
            throw Wrong("rows", "none", "Give a row of names, then a row for each request.");
        if (rows.Length > mostRows + 1)
            throw Wrong("rows", $"more than {mostRows}", "Send them in several files.");
        return new([.. rows[0].Values.Select(v => v.Trim().ToLowerInvariant())], rows[1..]);
    }

    private static List<(int Line, IReadOnlyList<string> Values)> Split(string text, char separator)
    {
        var rows = new List<(int, IReadOnlyList<string>)>();
        var row = new List<string>();
        var field = new StringBuilder();
        var (line, rowLine, quoted, wasQuoted) = (1, 1, false, false);
        for (var k = 0; k <= text.Length; k++)
        {
            var c = k < text.Length ? text[k] : '\n';
            if (quoted && k < text.Length)
            {
                if (c == '"' && k + 1 < text.Length && text[k + 1] == '"')
                    field.Append(text[++k]);
                else if (c == '"')
                    quoted = false;
                else
                    field.Append(c);
                line += c == '\n' ? 1 : 0;
            }
            else if (quoted)
            {
                throw Wrong($"line {rowLine}", "a quotation mark is not closed", "Close it, or write \"\" for one inside a value.");
            }
            else if (c == '"' && field.Length == 0 && !wasQuoted)
            {
                quoted = wasQuoted = true;
            }
            else if (c == separator || c == '\n')
            {
                row.Add(wasQuoted ? field.ToString() : field.ToString().Trim());
                field.Clear();
                wasQuoted = false;
                if (row.Count > MostFields)
                    throw Wrong($"line {rowLine}", $"more than {MostFields} values", "Give one row for each request.");
                if (c != '\n')
                    continue;
                rows.Add((rowLine, row));
                row = [];
                rowLine = ++line;
            }
            else if (wasQuoted && c != '\r')
            {
                throw Wrong($"line {rowLine}", "text after a closing quotation mark", "Write \"\" for a quotation mark inside a value.");
            }
            else if (c != '\r')
            {
                field.Append(c);
            }
        }

        return rows;
    }

    private static BadInputException Wrong(string field, string value, string remedy) => new("table", field, value, remedy);
}
