using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Service.Requests;

/// <summary>What is wrong with one row of a table.</summary>
public sealed record RowError(int Line, string Field, string Detail);

/// <summary>Reads requests from a table: a column for each field, by its name in the API.</summary>
internal static class RequestTable
{
    public const int MostRows = 1000;

    private static readonly string[] s_columns = ["purpose", "anatomy", "side", "scale", "neededby", "profile", "plan", "note", "requestercode", "patientid", "patientkey", "sourceid"];

    /// <summary>The rows, or what is wrong with them: never both.</summary>
    /// <exception cref="BadInputException">It is no such table.</exception>
    public static (IReadOnlyList<(int Line, NewRequest Request)> Rows, IReadOnlyList<RowError> Errors) Read(byte[] bytes)
    {
        var table = CsvTable.Read(bytes, MostRows);
        var unknown = table.Columns.FirstOrDefault(c => !s_columns.Contains(c));
        if (unknown is not null || table.Columns.Distinct().Count() < table.Columns.Count)
            throw new BadInputException("table", "columns", unknown is null ? "a name twice" : "an unknown name", "Allowed: purpose, anatomy, side, scale, neededBy, profile, plan, note, requesterCode, patientId, patientKey, sourceId.");
        if (table.Rows.Count == 0)
            throw new BadInputException("table", "rows", "none", "Give a row for each request.");
        var (rows, errors) = (new List<(int, NewRequest)>(), new List<RowError>());
        foreach (var (line, values) in table.Rows)
            if (values.Count != table.Columns.Count)
                errors.Add(new(line, "row", $"{values.Count} values under {table.Columns.Count} names"));
            else
                Row(line, table.Columns.Zip(values).Where(v => v.Second.Length > 0).ToDictionary(v => v.First, v => v.Second, StringComparer.Ordinal), rows, errors);
        return errors.Count > 0 ? ([], errors) : (rows, []);
    }

    private static void Row(int line, Dictionary<string, string> values, List<(int, NewRequest)> rows, List<RowError> errors)
    {
        var before = errors.Count;
        var purpose = Word<Purpose>("purpose") ?? Missing<Purpose>("purpose");
        var side = Word<Side>("side");
        var (scale, day) = (1.0, (DateOnly?)null);
        if (values.TryGetValue("scale", out var text) && !double.TryParse(text, NumberStyles.AllowDecimalPoint, CultureInfo.InvariantCulture, out scale))
            errors.Add(new(line, "scale", "not a number such as 0.5"));
        if (values.TryGetValue("neededby", out text))
        {
            if (DateOnly.TryParseExact(text, "yyyy-MM-dd", CultureInfo.InvariantCulture, DateTimeStyles.None, out var parsed))
                day = parsed;
            else
                errors.Add(new(line, "neededBy", "not a day such as 2026-12-24"));
        }

        foreach (var needed in new[] { "anatomy", "plan" })
            if (!values.ContainsKey(needed))
                errors.Add(new(line, needed, "missing"));
        if (errors.Count == before)
            rows.Add((line, new(purpose, values["anatomy"], values["plan"], side, scale, day, Get("profile"), Get("note"), Get("requestercode"), Get("patientid"), Get("patientkey"), Get("sourceid"))));

        string? Get(string name) => values.GetValueOrDefault(name);

        T? Word<T>(string name)
            where T : struct, Enum
        {
            if (Get(name) is not { } word)
                return null;
            if (word.All(char.IsAsciiLetter) && Enum.TryParse<T>(word, ignoreCase: true, out var value))
                return value;
            errors.Add(new(line, name, $"not one of {string.Join(", ", Enum.GetNames<T>().Select(n => n.ToLowerInvariant()))}"));
            return default(T);
        }

        T Missing<T>(string name)
        {
            errors.Add(new(line, name, "missing"));
            return default!;
        }
    }
}
