using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Imaging.Acquire.Grids;

/// <summary>Reads the header of a MetaImage: .mha with the samples inside, .mhd with a file beside it.</summary>
/// <remarks>
/// Rules: MetaIO's documentation, from memory and checked against an outside reader. Three numbers of TransformMatrix after the other are
/// the direction of the first, second and third axis; places are LPS, whatever AnatomicalOrientation says, which
/// names the side each axis starts from ("RAI" is the plain axial one) and is only compared. A file with neither is refused.
/// </remarks>
internal static class MetaImageHeader
{
    private const double SameDirection = 1e-3;

    /// <summary>A text whose first name is one a MetaImage begins with.</summary>
    public static bool Begins(ReadOnlySpan<byte> head)
    {
        if (TextFields.ReadLine(head, 0) is not { } line)
            return false;
        var name = line.Line.Split('=')[0].Trim();
        return line.Line.Contains('=', StringComparison.Ordinal) && name is "ObjectType" or "NDims" && head.IndexOf("ElementDataFile"u8) > 0;
    }

    /// <param name="path">The file the header stands in.</param>
    /// <exception cref="BadInputException">The header cannot be believed.</exception>
    public static GridHeader Read(ReadOnlySpan<byte> head, string path, GridChecks checks)
    {
        var fields = ReadFields(head, checks);
        if (fields.Find("objecttype") is { } kind && kind != "Image")
            throw checks.Bad("ObjectType", GridChecks.Quote(kind), "Give a file whose ObjectType is Image.");
        if (fields.Find("elementnumberofchannels") is not (null or "1"))
            throw checks.Bad("ElementNumberOfChannels", "not 1", "Save one value a sample.");
        if (Require(fields, checks, "NDims") != "3")
            throw checks.Bad("NDims", GridChecks.Quote(fields.Find("ndims")!), "Save the one volume that is meant, in 3 dimensions.");
        var sizes = Numbers(fields, checks, 3, "DimSize") ?? throw checks.Bad("DimSize", "missing");
        if (sizes.Any(s => s != Math.Floor(s)))
            throw checks.Bad("DimSize", "not whole numbers");
        var (columns, rows, slices) = checks.Sizes("DimSize", Whole(sizes[0]), Whole(sizes[1]), Whole(sizes[2]));
        var findings = new List<Finding>();
        var map = ReadMap(fields, checks, findings);
        var type = ReadType(Require(fields, checks, "ElementType"), checks);
        var slope = Numbers(fields, checks, 1, "ElementToIntensityFunctionSlope")?[0] ?? 1;
        var intercept = Numbers(fields, checks, 1, "ElementToIntensityFunctionOffset")?[0] ?? 0;
        if (slope == 0)
            throw checks.Bad("ElementToIntensityFunctionSlope", "0");
        return new("MetaImage", columns, rows, slices, map, type, IsTrue(fields, "binarydatabyteordermsb", "elementbyteordermsb"), slope, intercept, ReadPlace(fields, path, checks), findings);
    }

    private static long Whole(double size) => size is > 0 and < 1e9 ? (long)size : 0;

    private static TextFields ReadFields(ReadOnlySpan<byte> head, GridChecks checks)
    {
        var values = new Dictionary<string, string>(StringComparer.Ordinal);
        for (var at = 0; TextFields.ReadLine(head, at) is { } line;)
        {
            at = line.Next;
            if (line.Line.Trim().Length == 0)
                continue;
            var equals = line.Line.IndexOf('=', StringComparison.Ordinal);
            if (equals < 1)
                throw checks.Bad("header", "a line without a name and a value");
            var name = line.Line[..equals].Trim().ToLowerInvariant();
            if (!values.TryAdd(name, line.Line[(equals + 1)..].Trim()))
                throw checks.Bad(GridChecks.Quote(name), "stands twice");
            // The last line: what follows are samples.
            if (name == "elementdatafile")
                return new(values, at);
        }

        throw checks.Bad("ElementDataFile", head.Length < TextFields.LongestBytes ? "missing" : "not within the first 64 KB");
    }

    private static string Require(TextFields fields, GridChecks checks, string name) => fields.Find(name.ToLowerInvariant()) ?? throw checks.Bad(name, "missing");

    private static double[]? Numbers(TextFields fields, GridChecks checks, int count, params string[] names)
    {
        foreach (var name in names)
        {
            if (fields.Find(name.ToLowerInvariant()) is not { } text)
                continue;
            var words = TextFields.Words(text);
            return words.Length == count ? [.. words.Select(w => checks.Number(name, w))] : throw checks.Bad(name, FormattableString.Invariant($"{words.Length} numbers where {count} are needed"));
        }

        return null;
    }

    private static Affine3 ReadMap(TextFields fields, GridChecks checks, List<Finding> findings)
    {
        var spacing = Numbers(fields, checks, 3, "ElementSpacing") ?? throw checks.Bad("ElementSpacing", "missing", "Write the distance of samples in mm into the header.");
        if (spacing.Any(s => s <= 0))
            throw checks.Bad("ElementSpacing", "not positive");
        var origin = Numbers(fields, checks, 3, "Offset", "Origin", "Position") ?? throw checks.Bad("Offset", "missing", "Save the volume again with its place in the patient.");
        var toMm = fields.Find("distanceunits") switch
        {
            null or "mm" or "MM" or "?" => 1.0,
            "cm" => 10,
            "um" => 0.001,
            var other => throw checks.Bad("DistanceUnits", GridChecks.Quote(other), "Write it in mm."),
        };
        var matrix = Numbers(fields, checks, 9, "TransformMatrix", "Rotation", "Orientation");
        var letters = fields.Find("anatomicalorientation") is { Length: 3 } said && said != "???" ? FromSides(said, checks) : null;
        if ((matrix ?? letters) is not { } directions)
            throw checks.Bad("TransformMatrix and AnatomicalOrientation", "both missing", "Which side is left cannot be known: write the one that is right into the header.");
        if (matrix is not null && letters is not null && !SameAxes(matrix, letters))
            findings.Add(new(FindingCodes.OrientationDisagrees, Severity.Caution, "AnatomicalOrientation and TransformMatrix do not agree; the matrix is used, with LPS coordinates.", "Ask which one is right before a side is trusted."));
        foreach (var axis in (ReadOnlySpan<int>)[0, 3, 6])
            if (Math.Abs(Axis(directions, axis).Length - 1) > SameDirection)
                throw checks.Bad("TransformMatrix", "directions that are not of length one", "Put distances into ElementSpacing.");
        return checks.Map("TransformMatrix", new(
            Axis(directions, 0) * (spacing[0] * toMm), Axis(directions, 3) * (spacing[1] * toMm), Axis(directions, 6) * (spacing[2] * toMm),
            new Vec3(origin[0], origin[1], origin[2]) * toMm));
    }

    private static Vec3 Axis(double[] directions, int at) => new(directions[at], directions[at + 1], directions[at + 2]);

    /// <summary>Each letter is the side an axis starts from.</summary>
    private static double[] FromSides(string letters, GridChecks checks)
    {
        var directions = new double[9];
        for (var axis = 0; axis < 3; axis++)
        {
            var (along, sign) = letters[axis] switch
            {
                'R' => (0, 1),
                'L' => (0, -1),
                'A' => (1, 1),
                'P' => (1, -1),
                'I' => (2, 1),
                'S' => (2, -1),
                _ => throw checks.Bad("AnatomicalOrientation", GridChecks.Quote(letters), "It is three of R, L, A, P, I, S."),
            };
            directions[(3 * axis) + along] = sign;
        }

        return directions;
    }

    /// <summary>Each axis of the matrix points nearest to the side the letters say.</summary>
    private static bool SameAxes(double[] matrix, double[] letters)
    {
        for (var axis = 0; axis < 9; axis += 3)
        {
            var (m, l) = (Axis(matrix, axis), Axis(letters, axis));
            if (Vec3.Dot(m, l) < 0.5 * m.Length)
                return false;
        }

        return true;
    }

    private static SampleType ReadType(string type, GridChecks checks) => type switch
    {
        "MET_CHAR" => SampleType.Int8,
        "MET_UCHAR" => SampleType.UInt8,
        "MET_SHORT" => SampleType.Int16,
        "MET_USHORT" => SampleType.UInt16,
        "MET_INT" => SampleType.Int32,
        "MET_UINT" => SampleType.UInt32,
        "MET_LONG_LONG" => SampleType.Int64,
        "MET_ULONG_LONG" => SampleType.UInt64,
        "MET_FLOAT" => SampleType.Float32,
        "MET_DOUBLE" => SampleType.Float64,
        _ => throw checks.Bad("ElementType", GridChecks.Quote(type), "Save it as MET_SHORT."),
    };

    private static bool IsTrue(TextFields fields, params ReadOnlySpan<string> names) => fields.Find(names) is { } value && (value.StartsWith('T') || value.StartsWith('t') || value == "1");

    private static GridData ReadPlace(TextFields fields, string path, GridChecks checks)
    {
        var name = Require(fields, checks, "ElementDataFile");
        var local = name is "LOCAL" or "local" or "Local";
        var holder = local ? path : SiblingFile.Find(path, name, "ElementDataFile", checks);
        var packing = IsTrue(fields, "compresseddata") ? Packing.Zlib : fields.Find("binarydata") is not null && !IsTrue(fields, "binarydata") ? Packing.Text : Packing.Raw;
        var skip = 0L;
        if (fields.Find("headersize") is { } text && !(long.TryParse(text, NumberStyles.AllowLeadingSign, CultureInfo.InvariantCulture, out skip) && skip >= -1 && (skip == 0 || (packing == Packing.Raw && !local))))
            throw checks.Bad("HeaderSize", GridChecks.Quote(text), "Save the volume again.");
        return new(holder, packing, skip < 0 ? -1 : skip + (local ? fields.Length : 0));
    }
}
