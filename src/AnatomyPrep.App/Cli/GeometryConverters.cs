using System.Text.Json;
using System.Text.Json.Serialization;
using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.App.Cli;

/// <summary>A point as [x, y, z].</summary>
internal sealed class Vec3Converter : JsonConverter<Vec3>
{
    public override Vec3 Read(ref Utf8JsonReader reader, Type typeToConvert, JsonSerializerOptions options)
    {
        var axes = JsonSerializer.Deserialize<double[]>(ref reader, options);
        return axes is { Length: 3 } ? new(axes[0], axes[1], axes[2]) : throw new JsonException("A point is three numbers.");
    }

    public override void Write(Utf8JsonWriter writer, Vec3 value, JsonSerializerOptions options)
    {
        writer.WriteStartArray();
        writer.WriteNumberValue(value.X);
        writer.WriteNumberValue(value.Y);
        writer.WriteNumberValue(value.Z);
        writer.WriteEndArray();
    }
}

/// <summary>A box as [[x, y, z], [x, y, z]]; an empty one as null.</summary>
internal sealed class Box3Converter : JsonConverter<Box3>
{
    public override Box3 Read(ref Utf8JsonReader reader, Type typeToConvert, JsonSerializerOptions options)
    {
        var corners = JsonSerializer.Deserialize<Vec3[]>(ref reader, options);
        return corners is null ? Box3.Empty : corners is { Length: 2 } ? new(corners[0], corners[1]) : throw new JsonException("A box is two points.");
    }

    public override void Write(Utf8JsonWriter writer, Box3 value, JsonSerializerOptions options)
    {
        if (value.IsEmpty)
            writer.WriteNullValue();
        else
            JsonSerializer.Serialize(writer, new[] { value.Min, value.Max }, options);
    }
}
