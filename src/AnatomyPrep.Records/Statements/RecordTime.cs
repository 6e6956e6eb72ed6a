using System.Globalization;
using System.Text.Json;
using System.Text.Json.Serialization;

namespace AnatomyPrep.Records.Statements;

/// <summary>Instants as RFC 3339 text in one form: UTC with milliseconds and Z.</summary>
public sealed class RecordTime : JsonConverter<DateTimeOffset>
{
    private const string Form = "yyyy-MM-dd'T'HH:mm:ss.fff'Z'";

    public static string Text(DateTimeOffset instant) => instant.UtcDateTime.ToString(Form, CultureInfo.InvariantCulture);

    /// <exception cref="FormatException">It has another form.</exception>
    public static DateTimeOffset Parse(string text) => DateTimeOffset.ParseExact(text, Form, CultureInfo.InvariantCulture, DateTimeStyles.AssumeUniversal | DateTimeStyles.AdjustToUniversal);

    public override DateTimeOffset Read(ref Utf8JsonReader reader, Type typeToConvert, JsonSerializerOptions options) =>
        DateTimeOffset.TryParseExact(
            reader.GetString(), Form, CultureInfo.InvariantCulture, DateTimeStyles.AssumeUniversal | DateTimeStyles.AdjustToUniversal, out var instant)
            ? instant
            : throw new JsonException($"A time has the form {Form}.");

    public override void Write(Utf8JsonWriter writer, DateTimeOffset value, JsonSerializerOptions options) =>
        writer.WriteStringValue(Text(value));
}
