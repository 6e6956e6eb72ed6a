using System.Text.Json;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>The messages between parent and child as JSON.</summary>
/// <remarks>
/// Written out by hand on the library's writer and document: its serialiser, generated or not, has to be compiled anew
/// in every child and every parent, which costs 0.13 s of processor time a process, half of all a small series needs.
/// Reading is strict: what is not exactly a message is <see cref="InvalidDataException"/>.
/// </remarks>
internal static class ReaderJson
{
    public static byte[] Write(ReaderRequest request) => Bytes(w =>
    {
        w.WriteStartObject();
        w.WriteNumber("Task", (int)request.Task);
        w.WriteNumber("Threads", request.Threads);
        w.WriteBase64String("Salt", request.Salt);
        w.WriteString("OutputPath", request.OutputPath);
        w.WriteStartArray("Items");
        foreach (var item in request.Items)
        {
            w.WriteStartObject();
            w.WriteNumber("Index", item.Index);
            w.WriteString("Path", item.Path);
            w.WriteString("Digest", item.Digest);
            if (item.Slots is not null)
                WriteArray(w, "Slots", item.Slots, (to, slot) => to.WriteNumberValue(slot));
            w.WriteEndObject();
        }

        w.WriteEndArray();
        w.WriteEndObject();
    });

    public static byte[] Write(ReaderReply reply) => Bytes(w =>
    {
        w.WriteStartObject();
        w.WriteNumber("Index", reply.Index);
        w.WriteBoolean("Final", reply.Final);
        if (reply.Scan is { } scan)
        {
            w.WriteStartObject("Scan");
            WriteFacts(w, scan.Ct);
            WriteFault(w, scan.Fault);
            if (scan.References is not null)
                WriteArray(w, "References", scan.References, (to, r) => to.WriteStringValue(r));
            w.WriteEndObject();
        }

        w.WriteString("Digest", reply.Digest);
        WriteFault(w, reply.Fault);
        w.WriteString("Sha256", reply.Sha256);
        w.WriteNumber("Bytes", reply.Bytes);
        if (reply.Slices is not null)
            WriteArray(w, "Slices", reply.Slices, WriteCounts);
        if (reply.Identifiers is not null)
            WriteArray(w, "Identifiers", reply.Identifiers, WriteIdentifier);
        w.WriteEndObject();
    });

    public static ReaderRequest ReadRequest(byte[] json) => Read(json, r => new ReaderRequest(
        (ReaderTask)r.GetProperty("Task").GetInt32(),
        r.GetProperty("Threads").GetInt32(),
        r.GetProperty("Salt").GetBytesFromBase64(),
        Text(r, "OutputPath"),
        Array(r, "Items", i => new ReaderItem(i.GetProperty("Index").GetInt32(), i.GetProperty("Path").GetString()!, Text(i, "Digest"), Array(i, "Slots", s => s.GetInt32())))!));

    public static ReaderReply ReadReply(byte[] json) => Read(json, r => new ReaderReply(
        r.GetProperty("Index").GetInt32(),
        r.GetProperty("Final").GetBoolean(),
        Part(r, "Scan", s => new ScanResult(Part(s, "Ct", ReadFacts), Part(s, "Fault", ReadFault), Array(s, "References", t => t.GetString()!))),
        Text(r, "Digest"),
        Part(r, "Fault", ReadFault),
        Text(r, "Sha256"),
        Has(r, "Bytes", out var bytes) ? bytes.GetInt64() : 0,
        Array(r, "Slices", ReadCounts),
        Array(r, "Identifiers", i => new Identifier(i.GetProperty("Tag").GetUInt32(), Required(i, "Value")))));

    private static void WriteFacts(Utf8JsonWriter w, FileFacts? facts)
    {
        if (facts is null)
            return;
        w.WriteStartObject("Ct");
        w.WriteString("SopClass", facts.SopClass);
        w.WriteString("SopInstance", facts.SopInstance);
        w.WriteString("Study", facts.Study);
        w.WriteString("Series", facts.Series);
        w.WriteString("FrameOfReference", facts.FrameOfReference);
        WriteNumber(w, "SeriesNumber", facts.SeriesNumber);
        WriteNumber(w, "AcquisitionNumber", facts.AcquisitionNumber);
        WriteNumber(w, "TemporalPosition", facts.TemporalPosition);
        w.WriteString("ImageTypeMark", facts.ImageTypeMark);
        w.WriteString("TimeMark", facts.TimeMark);
        w.WriteBoolean("Derived", facts.Derived);
        w.WriteBoolean("BurnedIn", facts.BurnedIn);
        w.WriteString("PatientMark", facts.PatientMark);
        w.WriteString("Syntax", facts.Syntax);
        w.WriteBoolean("HasMeta", facts.HasMeta);
        w.WriteString("SourceTitle", facts.SourceTitle);
        w.WriteBoolean("Localizer", facts.Localizer);
        w.WriteNumber("Rows", facts.Rows);
        w.WriteNumber("Columns", facts.Columns);
        WriteLayout(w, facts.Layout);
        w.WriteBoolean("Monochrome1", facts.Monochrome1);
        w.WriteNumber("ExtraPixelBytes", facts.ExtraPixelBytes);
        WriteNumber(w, "TiltTagDeg", facts.TiltTagDeg);
        w.WriteString("Kernel", facts.Kernel);
        w.WriteString("BodyPart", facts.BodyPart);
        w.WriteString("Laterality", facts.Laterality);
        w.WriteString("PatientPosition", facts.PatientPosition);
        w.WriteBoolean("HasContrast", facts.HasContrast);
        w.WriteBoolean("Lossy", facts.Lossy);
        WriteNumber(w, "LossyRatio", facts.LossyRatio);
        WriteArray(w, "Slices", facts.Slices, WriteSlice);
        w.WriteEndObject();
    }

    private static FileFacts ReadFacts(JsonElement e) => new()
    {
        SopClass = Required(e, "SopClass"),
        SopInstance = Required(e, "SopInstance"),
        Study = Required(e, "Study"),
        Series = Required(e, "Series"),
        FrameOfReference = Required(e, "FrameOfReference"),
        SeriesNumber = (int?)Number(e, "SeriesNumber"),
        AcquisitionNumber = (int?)Number(e, "AcquisitionNumber"),
        TemporalPosition = (int?)Number(e, "TemporalPosition"),
        ImageTypeMark = Required(e, "ImageTypeMark"),
        TimeMark = Required(e, "TimeMark"),
        Derived = e.GetProperty("Derived").GetBoolean(),
        BurnedIn = e.GetProperty("BurnedIn").GetBoolean(),
        PatientMark = Required(e, "PatientMark"),
        Syntax = Required(e, "Syntax"),
        HasMeta = e.GetProperty("HasMeta").GetBoolean(),
        SourceTitle = Text(e, "SourceTitle"),
        Localizer = e.GetProperty("Localizer").GetBoolean(),
        Rows = e.GetProperty("Rows").GetInt32(),
        Columns = e.GetProperty("Columns").GetInt32(),
        Layout = ReadLayout(e.GetProperty("Layout")),
        Monochrome1 = e.GetProperty("Monochrome1").GetBoolean(),
        ExtraPixelBytes = e.GetProperty("ExtraPixelBytes").GetInt64(),
        TiltTagDeg = Number(e, "TiltTagDeg"),
        Kernel = Text(e, "Kernel"),
        BodyPart = Text(e, "BodyPart"),
        Laterality = Text(e, "Laterality"),
        PatientPosition = Text(e, "PatientPosition"),
        HasContrast = e.GetProperty("HasContrast").GetBoolean(),
        Lossy = e.GetProperty("Lossy").GetBoolean(),
        LossyRatio = Number(e, "LossyRatio"),
        Slices = Array(e, "Slices", ReadSlice) ?? throw new InvalidDataException("no slices"),
    };

    private static void WriteLayout(Utf8JsonWriter w, PixelLayout layout)
    {
        w.WriteStartObject("Layout");
        w.WriteNumber("BitsAllocated", layout.BitsAllocated);
        w.WriteNumber("BitsStored", layout.BitsStored);
        w.WriteNumber("HighBit", layout.HighBit);
        w.WriteBoolean("Signed", layout.Signed);
        WriteNumber(w, "PaddingWord", layout.PaddingWord);
        WriteNumber(w, "PaddingLimitWord", layout.PaddingLimitWord);
        w.WriteEndObject();
    }

    private static PixelLayout ReadLayout(JsonElement e) => new(
        e.GetProperty("BitsAllocated").GetInt32(),
        e.GetProperty("BitsStored").GetInt32(),
        e.GetProperty("HighBit").GetInt32(),
        e.GetProperty("Signed").GetBoolean(),
        (int?)Number(e, "PaddingWord"),
        (int?)Number(e, "PaddingLimitWord"));

    private static void WriteSlice(Utf8JsonWriter w, SliceFacts slice)
    {
        w.WriteStartObject();
        WriteNumbers(w, "Position", slice.Position);
        WriteNumbers(w, "Orientation", slice.Orientation);
        WriteNumbers(w, "PixelSpacing", slice.PixelSpacing);
        WriteNumber(w, "ThicknessMm", slice.ThicknessMm);
        WriteNumber(w, "Slope", slice.Slope);
        WriteNumber(w, "Intercept", slice.Intercept);
        w.WriteString("RescaleType", slice.RescaleType);
        WriteNumber(w, "InstanceNumber", slice.InstanceNumber);
        w.WriteEndObject();
    }

    private static SliceFacts ReadSlice(JsonElement e) => new(
        Numbers(e, "Position", 3),
        Numbers(e, "Orientation", 6),
        Numbers(e, "PixelSpacing", 2),
        Number(e, "ThicknessMm"),
        Number(e, "Slope"),
        Number(e, "Intercept"),
        Required(e, "RescaleType"),
        (int?)Number(e, "InstanceNumber"));

    private static void WriteIdentifier(Utf8JsonWriter w, Identifier identifier)
    {
        w.WriteStartObject();
        w.WriteNumber("Tag", identifier.Tag);
        w.WriteString("Value", identifier.Value);
        w.WriteEndObject();
    }

    private static void WriteCounts(Utf8JsonWriter w, SliceCounts counts)
    {
        w.WriteStartObject();
        w.WriteNumber("MinHu", counts.MinHu);
        w.WriteNumber("MaxHu", counts.MaxHu);
        w.WriteNumber("LargestRoundingHu", counts.LargestRoundingHu);
        w.WriteNumber("Clamped", counts.Clamped);
        w.WriteNumber("Padded", counts.Padded);
        WriteNumber(w, "MaxPaddedHu", counts.MaxPaddedHu);
        w.WriteNumber("AtTop", counts.AtTop);
        w.WriteNumber("At3071", counts.At3071);
        w.WriteNumber("WithUnusedBits", counts.WithUnusedBits);
        w.WriteEndObject();
    }

    private static SliceCounts ReadCounts(JsonElement e) => new(
        e.GetProperty("MinHu").GetInt16(),
        e.GetProperty("MaxHu").GetInt16(),
        e.GetProperty("LargestRoundingHu").GetDouble(),
        e.GetProperty("Clamped").GetInt64(),
        e.GetProperty("Padded").GetInt64(),
        (short?)Number(e, "MaxPaddedHu"),
        e.GetProperty("AtTop").GetInt64(),
        e.GetProperty("At3071").GetInt64(),
        e.GetProperty("WithUnusedBits").GetInt64());

    private static void WriteFault(Utf8JsonWriter w, Fault? fault)
    {
        if (fault is null)
            return;
        w.WriteStartObject("Fault");
        w.WriteString("Code", fault.Code);
        w.WriteString("Field", fault.Field);
        w.WriteString("Value", fault.Value);
        w.WriteString("Remedy", fault.Remedy);
        w.WriteEndObject();
    }

    private static Fault ReadFault(JsonElement e) => new(Required(e, "Code"), Required(e, "Field"), Required(e, "Value"), Required(e, "Remedy"));

    private static byte[] Bytes(Action<Utf8JsonWriter> write)
    {
        using var stream = new MemoryStream();
        using (var writer = new Utf8JsonWriter(stream))
            write(writer);
        return stream.ToArray();
    }

    private static T Read<T>(byte[] json, Func<JsonElement, T> read)
    {
        try
        {
            using var document = JsonDocument.Parse(json);
            return read(document.RootElement);
        }
        catch (Exception e) when (e is JsonException or KeyNotFoundException or InvalidOperationException or FormatException)
        {
            throw new InvalidDataException("not a message", e);
        }
    }

    private static void WriteArray<T>(Utf8JsonWriter w, string name, IReadOnlyList<T> items, Action<Utf8JsonWriter, T> write)
    {
        w.WriteStartArray(name);
        foreach (var item in items)
            write(w, item);
        w.WriteEndArray();
    }

    private static void WriteNumbers(Utf8JsonWriter w, string name, double[]? numbers)
    {
        if (numbers is not null)
            WriteArray(w, name, numbers, (to, n) => to.WriteNumberValue(n));
    }

    private static void WriteNumber(Utf8JsonWriter w, string name, double? number)
    {
        if (number is { } n)
            w.WriteNumber(name, n);
    }

    private static string Required(JsonElement e, string name) => e.GetProperty(name).GetString() ?? throw new InvalidDataException("null");

    private static string? Text(JsonElement e, string name) => Has(e, name, out var text) ? text.GetString() : null;

    private static double? Number(JsonElement e, string name) => Has(e, name, out var number) ? number.GetDouble() : null;

    private static double[]? Numbers(JsonElement e, string name, int count)
    {
        var numbers = Array(e, name, n => n.GetDouble());
        return numbers is null || numbers.Length == count ? numbers : throw new InvalidDataException("wrong number of numbers");
    }

    private static T? Part<T>(JsonElement e, string name, Func<JsonElement, T> read)
        where T : class => Has(e, name, out var part) ? read(part) : null;

    private static T[]? Array<T>(JsonElement e, string name, Func<JsonElement, T> read) =>
        Has(e, name, out var array) ? [.. array.EnumerateArray().Select(read)] : null;

    private static bool Has(JsonElement e, string name, out JsonElement value) => e.TryGetProperty(name, out value) && value.ValueKind != JsonValueKind.Null;
}
