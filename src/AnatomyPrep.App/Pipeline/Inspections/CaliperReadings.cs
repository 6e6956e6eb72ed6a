using System.Globalization;
using System.Text;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.App.Pipeline.Inspections;

/// <summary>Readings of a caliper sheet, as they come back: from the CSV that went out with it, or from the command line.</summary>
/// <remarks>
/// CSV after RFC 4180, UTF-8, with the columns sheet, distance, reading1Mm, reading2Mm by name, others passed over. A file that a spreadsheet wrote
///   with semicolons may have decimal commas. Nothing is guessed: what is missing, not a length, or a length in another unit is refused by name.
/// </remarks>
internal static class CaliperReadings
{
    public const string Header = "sheet,distance,along,reading1Mm,reading2Mm,remark";

    private const int LargestBytes = 1 << 18;

    // A length written in another unit or with a slipped point is a factor from what is expected; no print deviates by as much.
    private static readonly (double Factor, string Looks, string Remedy)[] s_slips =
    [
        (0.1, "centimetres, or a slipped decimal point", "Write millimetres."),
        (1 / 25.4, "inches", "Set the caliper to millimetres, and read again."),
        (0.001, "metres", "Write millimetres."),
        (10, "a slipped decimal point", "Write millimetres with two decimals."),
        (100, "a missing decimal point", "Write millimetres with two decimals."),
        (1000, "micrometres, or a missing decimal point", "Write millimetres."),
    ];

    private const double SlipWithin = 0.06;

    /// <summary>An empty sheet to fill in.</summary>
    public static string Empty(string sheet, IReadOnlyList<CaliperDistance> distances) =>
        $"{Header}\n{string.Concat(distances.Select(d => $"{sheet},{d.Name},{"xyz"[d.Axis]},,,\n"))}";

    /// <summary>The code of the sheet that a file names in every row, and its readings by distance.</summary>
    /// <exception cref="BadInputException">Not such a file; a distance twice; a reading that is no length.</exception>
    public static (string Sheet, IReadOnlyDictionary<string, IReadOnlyList<double>> Readings) Read(byte[] csv, string file)
    {
        if (csv.Length > LargestBytes)
            throw new BadInputException(file, "size", $"{csv.Length} bytes", $"A filled-in sheet has at most {LargestBytes} bytes.");
        var rows = Rows(Decode(csv, file), file);
        if (rows.Count == 0)
            throw new BadInputException(file, "content", "empty", "Give the CSV of the sheet, filled in.");
        var (separator, head) = (rows[0].Separator, rows[0].Cells);
        int Column(string name) => head.FindIndex(h => h.Equals(name, StringComparison.OrdinalIgnoreCase)) is >= 0 and var at
            ? at
            : throw new BadInputException(file, "columns", $"no {name}", $"Keep the first line as it was: {Header}");
        int sheetAt = Column("sheet"), distanceAt = Column("distance"), firstAt = Column("reading1Mm"), secondAt = Column("reading2Mm");
        string? sheet = null;
        var readings = new Dictionary<string, IReadOnlyList<double>>(StringComparer.Ordinal);
        foreach (var (_, cells) in rows.Skip(1))
        {
            string Cell(int at) => at < cells.Count ? cells[at] : "";
            var name = Cell(distanceAt);
            if (sheet is not null && Cell(sheetAt) != sheet)
                throw new BadInputException(file, $"sheet of row {name}", Shown(Cell(sheetAt)), $"Every row must be of one sheet; the first is of {sheet}.");
            sheet ??= Cell(sheetAt);
            var values = ((int, string)[])[(firstAt, "reading1Mm"), (secondAt, "reading2Mm")];
            double[] read = [.. values.Where(v => Cell(v.Item1).Length > 0).Select(v => Length(Cell(v.Item1), separator == ';', file, $"{v.Item2} of {name}"))];
            if (!readings.TryAdd(name, read))
                throw new BadInputException(file, "distance", $"{Shown(name)} twice", "Every distance has one row.");
        }

        return (sheet ?? throw new BadInputException(file, "rows", "none", "Give the CSV of the sheet, filled in."), readings);
    }

    /// <summary>Reads NAME=MM or NAME=MM,MM, as given on the command line.</summary>
    /// <exception cref="PlanException">Not of that form, or a name twice.</exception>
    /// <exception cref="BadInputException">A reading that is no length.</exception>
    public static IReadOnlyDictionary<string, IReadOnlyList<double>> Read(IEnumerable<string> given)
    {
        var readings = new Dictionary<string, IReadOnlyList<double>>(StringComparer.Ordinal);
        foreach (var text in given)
        {
            var parts = text.Split('=');
            if (parts.Length != 2 || parts[0].Length == 0 || parts[1].Split(',') is not { Length: 1 or 2 } values)
                throw new PlanException("command", null, "--reading", text, "NAME=MM or NAME=MM,MM, such as X1=45.21,45.19");
            if (!readings.TryAdd(parts[0], [.. values.Select(v => Length(v, false, "command", $"reading of {parts[0]}"))]))
                throw new PlanException("command", null, "--reading", parts[0], "every name once");
        }

        return readings;
    }

    /// <summary>Refuses what cannot be a measurement of these distances.</summary>
    /// <exception cref="BadInputException">A distance without a reading or not of the sheet, or a reading in another unit.</exception>
    public static void RequirePlausible(IReadOnlyDictionary<string, IReadOnlyList<double>> readings, IReadOnlyList<CaliperDistance> distances, string file)
    {
        if (readings.Keys.FirstOrDefault(k => !distances.Any(d => d.Name == k)) is { } stranger)
            throw new BadInputException(file, "distance", Shown(stranger), $"The sheet has {string.Join(", ", distances.Select(d => d.Name))}.");
        foreach (var d in distances)
        {
            if (!readings.TryGetValue(d.Name, out var read) || read.Count == 0)
                throw new BadInputException(file, $"reading of {d.Name}", "missing", "Measure every distance of the sheet at least once.");
            foreach (var mm in read)
                foreach (var (factor, looks, remedy) in s_slips)
                    if (Math.Abs((mm / d.LengthMm / factor) - 1) < SlipWithin)
                        throw new BadInputException(file, $"reading of {d.Name}", string.Create(CultureInfo.InvariantCulture, $"{mm} looks like {looks}"), remedy);
        }
    }

    private static double Length(string text, bool commaMayBePoint, string file, string field)
    {
        var number = commaMayBePoint && !text.Contains('.', StringComparison.Ordinal) ? text.Replace(',', '.') : text;
        if (!double.TryParse(number, NumberStyles.AllowDecimalPoint | NumberStyles.AllowLeadingSign, CultureInfo.InvariantCulture, out var mm) || !double.IsFinite(mm))
            throw new BadInputException(file, field, Shown(text), "Write the number alone, in millimetres, such as 45.21.");
        return mm > 0 ? mm : throw new BadInputException(file, field, Shown(text), "A length is above 0: measure again.");
    }

    private static string Decode(byte[] csv, string file)
    {
        try
        {
            return new UTF8Encoding(false, throwOnInvalidBytes: true).GetString(csv).TrimStart('\uFEFF');
        }
        catch (DecoderFallbackException)
        {
            throw new BadInputException(file, "text", "not UTF-8", "Save the sheet as CSV in UTF-8.");
        }
    }

    /// <summary>Rows with anything in them, cells trimmed; the separator is that of the first line.</summary>
    private static List<(char Separator, List<string> Cells)> Rows(string text, string file)
    {
        var firstLine = text.Split('\n', 2)[0];
        var separator = firstLine.Contains(';', StringComparison.Ordinal) ? ';' : ',';
        var rows = new List<(char, List<string>)>();
        var cells = new List<string>();
        var cell = new StringBuilder();
        var quoted = false;
        for (var i = 0; i <= text.Length; i++)
        {
            var c = i < text.Length ? text[i] : '\n';
            if (quoted)
            {
                if (i == text.Length)
                    throw new BadInputException(file, "quotes", "not closed", "Close every quotation mark.");
                if (c != '"')
                    cell.Append(c);
                else if (i + 1 < text.Length && text[i + 1] == '"')
                    cell.Append(text[i++]);
                else
                    quoted = false;
            }
            else if (c == '"')
            {
                quoted = true;
            }
            else if (c == separator || c == '\n')
            {
                cells.Add(cell.ToString().Trim());
                cell.Clear();
                if (c == '\n')
                {
                    if (cells.Any(x => x.Length > 0))
                        rows.Add((separator, cells));
                    cells = [];
                }
            }
            else
            {
                cell.Append(c);
            }
        }

        return rows;
    }

    private static string Shown(string text)
    {
        var clean = new string([.. text.Select(c => char.IsControl(c) ? '?' : c)]);
        return clean.Length == 0 ? "nothing" : clean.Length <= 40 ? clean : clean[..40] + "...";
    }
}
