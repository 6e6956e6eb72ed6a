using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Imaging.Acquire.Grids;

/// <summary>Reads the header of a NRRD file, with the samples attached or in one file beside it.</summary>
/// <remarks>
/// Rules: definition of NRRD file format (G. Kindlmann, teem), from memory and checked against an outside reader. Space directions are the
/// steps from sample to sample, in the space that "space" names; key/value pairs and comments are not read. Refused by
/// name: bzip2 and hex encodings, samples over several files, line skips, spaces that are not the patient's, and
/// left-anterior-superior, which ITK 5.2 reads with x turned where the definition has y turned: a side must not hang on that.
/// </remarks>
internal static class NrrdHeader
{
    public static bool Begins(ReadOnlySpan<byte> head) => head.StartsWith("NRRD00"u8);

    /// <param name="path">The file the header stands in.</param>
    /// <exception cref="BadInputException">The header cannot be believed.</exception>
    public static GridHeader Read(ReadOnlySpan<byte> head, string path, GridChecks checks)
    {
        var fields = ReadFields(head, checks);
        var findings = new List<Finding>();
        var (columns, rows, slices, axes) = ReadSizes(fields, checks);
        var map = ReadMap(fields, axes, checks, findings);
        var type = ReadType(Require(fields, checks, "type"), checks);
        var packing = ReadPacking(Require(fields, checks, "encoding"), checks);
        var big = packing != Packing.Text && type is not (SampleType.Int8 or SampleType.UInt8) && ReadEndian(fields, checks);
        return new("NRRD", columns, rows, slices, map, type, big, 1, 0, ReadPlace(fields, path, packing, checks), findings);
    }

    private static TextFields ReadFields(ReadOnlySpan<byte> head, GridChecks checks)
    {
        var values = new Dictionary<string, string>(StringComparer.Ordinal);
        var at = 0;
        for (var first = true; ; first = false)
        {
            if (TextFields.ReadLine(head, at) is not { } line)
            {
                // A detached header may end with its last line.
                if (head.Length < TextFields.LongestBytes)
                    return new(values, head.Length);
                throw checks.Bad("header", FormattableString.Invariant($"longer than {TextFields.LongestBytes} bytes"));
            }

            at = line.Next;
            if (line.Line.Length == 0)
                return new(values, at);
            var colon = line.Line.IndexOf(':', StringComparison.Ordinal);
            // "key:=value" is somebody's own remark; "#" begins a comment.
            if (first || line.Line[0] == '#' || (colon >= 0 && colon + 1 < line.Line.Length && line.Line[colon + 1] == '='))
                continue;
            if (colon < 1)
                throw checks.Bad("header", "a line that is neither field nor comment");
            if (!values.TryAdd(line.Line[..colon].Trim().ToLowerInvariant(), line.Line[(colon + 1)..].Trim()))
                throw checks.Bad(GridChecks.Quote(line.Line.AsSpan(0, colon)), "stands twice");
        }
    }

    private static string Require(TextFields fields, GridChecks checks, string name) => fields.Find(name) ?? throw checks.Bad(name, "missing");

    /// <summary>Sizes of the three axes of space, and which axes of the file they are.</summary>
    private static (int Columns, int Rows, int Slices, int[] Axes) ReadSizes(TextFields fields, GridChecks checks)
    {
        var sizes = TextFields.Words(Require(fields, checks, "sizes")).Select(s => long.TryParse(s, NumberStyles.None, CultureInfo.InvariantCulture, out var n) ? n : throw checks.Bad("sizes", "not whole numbers")).ToArray();
        if (Require(fields, checks, "dimension") != sizes.Length.ToString(CultureInfo.InvariantCulture))
            throw checks.Bad("dimension", FormattableString.Invariant($"not the number of sizes, {sizes.Length}"));
        if (fields.Find("space directions") is null)
            throw checks.Bad("space directions", "missing", GridChecks.UnknownSide);
        var directions = Vectors(fields.Find("space directions")!, "space directions", checks);
        if (directions.Count != sizes.Length)
            throw checks.Bad("space directions", FormattableString.Invariant($"{directions.Count} for {sizes.Length} sizes"));
        int[] axes = [.. Enumerable.Range(0, sizes.Length).Where(a => directions[a] is not null)];
        if (axes.Length != 3 || sizes.Where((s, a) => directions[a] is null && s != 1).Any())
            throw checks.Bad("sizes", "not one value a sample in three dimensions", "Save the one volume that is meant.");
        var (columns, rows, slices) = checks.Sizes("sizes", sizes[axes[0]], sizes[axes[1]], sizes[axes[2]]);
        return (columns, rows, slices, axes);
    }

    private static Affine3 ReadMap(TextFields fields, int[] axes, GridChecks checks, List<Finding> findings)
    {
        var (x, y) = fields.Find("space")?.ToLowerInvariant() switch
        {
            "left-posterior-superior" or "lps" => (1, 1),
            "right-anterior-superior" or "ras" => (-1, -1),
            null => throw checks.Bad("space", "missing", GridChecks.UnknownSide),
            var other => throw checks.Bad("space", GridChecks.Quote(other), "Save it in left-posterior-superior or right-anterior-superior."),
        };
        var directions = Vectors(fields.Find("space directions")!, "space directions", checks);
        var origin = Vectors(fields.Find("space origin") ?? throw checks.Bad("space origin", "missing", "Save the volume again with its place in the patient."), "space origin", checks);
        if (origin is not [{ } start])
            throw checks.Bad("space origin", "not one point");
        var toMm = ReadUnit(fields, checks, findings);
        Vec3 Turn(Vec3 v) => new(v.X * x * toMm[0], v.Y * y * toMm[1], v.Z * toMm[2]);
        return checks.Map("space directions", new(Turn(directions[axes[0]]!.Value), Turn(directions[axes[1]]!.Value), Turn(directions[axes[2]]!.Value), Turn(start)));
    }

    private static double[] ReadUnit(TextFields fields, GridChecks checks, List<Finding> findings)
    {
        if (fields.Find("space units") is not { } text)
        {
            findings.Add(new(FindingCodes.UnitUnknown, Severity.Note, "The file states no unit of length (space units); taken for millimetres, as such files use.", "Check a known size in the result."));
            return [1, 1, 1];
        }

        var units = text.Split('"', StringSplitOptions.RemoveEmptyEntries | StringSplitOptions.TrimEntries);
        return units.Length == 3 ? [.. units.Select(u => ToMm(u, checks))] : throw checks.Bad("space units", "not three");
    }

    private static double ToMm(string unit, GridChecks checks) => unit switch
    {
        "mm" or "millimeter" or "millimetre" => 1,
        "cm" => 10,
        "m" => 1000,
        "um" or "µm" or "micron" => 0.001,
        _ => throw checks.Bad("space units", GridChecks.Quote(unit), "Write them in mm."),
    };

    /// <summary>Points like "(1,0,0) none (0,0,2.5)"; null for "none".</summary>
    private static List<Vec3?> Vectors(string text, string field, GridChecks checks)
    {
        var vectors = new List<Vec3?>();
        var rest = text.AsSpan().Trim();
        while (!rest.IsEmpty)
        {
            if (rest.StartsWith("none"))
            {
                vectors.Add(null);
                rest = rest[4..].TrimStart();
                continue;
            }

            var end = rest.IndexOf(')');
            if (rest[0] != '(' || end < 0)
                throw checks.Bad(field, "not written as (x,y,z)");
            var parts = rest[1..end].ToString().Split(',');
            if (parts.Length != 3)
                throw checks.Bad(field, FormattableString.Invariant($"{parts.Length} numbers where a place has 3"));
            vectors.Add(new Vec3(checks.Number(field, parts[0].AsSpan().Trim()), checks.Number(field, parts[1].AsSpan().Trim()), checks.Number(field, parts[2].AsSpan().Trim())));
            rest = rest[(end + 1)..].TrimStart();
        }

        return vectors;
    }

    private static SampleType ReadType(string type, GridChecks checks) => type switch
    {
        "signed char" or "int8" or "int8_t" => SampleType.Int8,
        "uchar" or "unsigned char" or "uint8" or "uint8_t" => SampleType.UInt8,
        "short" or "short int" or "signed short" or "signed short int" or "int16" or "int16_t" => SampleType.Int16,
        "ushort" or "unsigned short" or "unsigned short int" or "uint16" or "uint16_t" => SampleType.UInt16,
        "int" or "signed int" or "int32" or "int32_t" => SampleType.Int32,
        "uint" or "unsigned int" or "uint32" or "uint32_t" => SampleType.UInt32,
        "longlong" or "long long" or "long long int" or "signed long long" or "signed long long int" or "int64" or "int64_t" => SampleType.Int64,
        "ulonglong" or "unsigned long long" or "unsigned long long int" or "uint64" or "uint64_t" => SampleType.UInt64,
        "float" => SampleType.Float32,
        "double" => SampleType.Float64,
        _ => throw checks.Bad("type", GridChecks.Quote(type), "Save it as short."),
    };

    private static Packing ReadPacking(string encoding, GridChecks checks) => encoding.ToLowerInvariant() switch
    {
        "raw" => Packing.Raw,
        "gz" or "gzip" => Packing.Gzip,
        "txt" or "text" or "ascii" => Packing.Text,
        _ => throw checks.Bad("encoding", GridChecks.Quote(encoding), "Save it with encoding raw or gzip."),
    };

    private static bool ReadEndian(TextFields fields, GridChecks checks) => Require(fields, checks, "endian") switch
    {
        "little" => false,
        "big" => true,
        var other => throw checks.Bad("endian", GridChecks.Quote(other), "It is little or big."),
    };

    private static GridData ReadPlace(TextFields fields, string path, Packing packing, GridChecks checks)
    {
        if (fields.Find("line skip", "lineskip") is not (null or "0"))
            throw checks.Bad("line skip", "not 0", "Save the volume again in one file.");
        var skip = 0L;
        if (fields.Find("byte skip", "byteskip") is { } text && !(long.TryParse(text, NumberStyles.AllowLeadingSign, CultureInfo.InvariantCulture, out skip) && skip >= -1 && (skip == 0 || packing == Packing.Raw)))
            throw checks.Bad("byte skip", GridChecks.Quote(text), "Save the volume again in one file.");
        var begin = 0;
        var holder = path;
        if (fields.Find("data file", "datafile") is { } other)
            holder = SiblingFile.Find(path, other, "data file", checks);
        else
            begin = fields.Length;
        return new(holder, packing, skip < 0 ? -1 : begin + skip);
    }
}
