using System.Text.Encodings.Web;
using System.Text.Json;
using System.Text.Json.Nodes;
using System.Text.Json.Serialization;

namespace AnatomyPrep.Records.Statements;

/// <summary>How the types of a record stand in JSON: camelCase names and words, missing instead of null, nothing guessed.</summary>
public static class RecordJson
{
    public static JsonSerializerOptions Options { get; } = Make(indented: false);

    internal static JsonSerializerOptions Indented { get; } = Make(indented: true);

    internal static JsonObject ToNode<T>(T value) => JsonSerializer.SerializeToNode(value, Options)!.AsObject();

    private static JsonSerializerOptions Make(bool indented)
    {
        var options = new JsonSerializerOptions(JsonSerializerDefaults.Strict)
        {
            PropertyNamingPolicy = JsonNamingPolicy.CamelCase,
            DefaultIgnoreCondition = JsonIgnoreCondition.WhenWritingNull,
            UnmappedMemberHandling = JsonUnmappedMemberHandling.Skip,
            // Read by people and programs, never pasted into a page.
            Encoder = JavaScriptEncoder.UnsafeRelaxedJsonEscaping,
            WriteIndented = indented,
            NewLine = "\n",
        };
        options.Converters.Add(new JsonStringEnumConverter(JsonNamingPolicy.CamelCase, allowIntegerValues: false));
        options.Converters.Add(new RecordTime());
        options.Converters.Add(new VectorJson());
        options.Converters.Add(new BoxJson());
        options.MakeReadOnly(populateMissingResolver: true);
        return options;
    }
}
