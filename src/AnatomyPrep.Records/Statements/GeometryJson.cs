using System.Text.Json;
using System.Text.Json.Serialization;
using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Records.Statements;

/// <summary>A vector as a list of three numbers.</summary>
internal sealed class VectorJson : JsonConverter<Vec3>
{
    public override Vec3 Read(ref Utf8JsonReader reader, Type typeToConvert, JsonSerializerOptions options) =>
        JsonSerializer.Deserialize<double[]>(ref reader, options) is [var x, var y, var z]
            ? new Vec3(x, y, z)
            : throw new JsonException("A vector has three numbers.");

    public override void Write(Utf8JsonWriter writer, Vec3 value, JsonSerializerOptions options)
    {
        writer.WriteStartArray();
        writer.WriteNumberValue(value.X);
        writer.WriteNumberValue(value.Y);
        writer.WriteNumberValue(value.Z);
        writer.WriteEndArray();
    }
}

/// <summary>A box as its two corners.</summary>
internal sealed class BoxJson : JsonConverter<Box3>
{
    private sealed record Corners(Vec3 Min, Vec3 Max);

    public override Box3 Read(ref Utf8JsonReader reader, Type typeToConvert, JsonSerializerOptions options) =>
        JsonSerializer.Deserialize<Corners>(ref reader, options) is { } corners
            ? new Box3(corners.Min, corners.Max)
            : throw new JsonException("A box has the corners min and max.");

    public override void Write(Utf8JsonWriter writer, Box3 value, JsonSerializerOptions options) =>
        JsonSerializer.Serialize(writer, new Corners(value.Min, value.Max), options);
}
