using Microsoft.OpenApi;

namespace AnatomyPrep.Service.Hosting;

/// <summary>Says in the API's document what makers of clients need of enumerations: that they are texts; and where one, or an object, may be left out.</summary>
internal static class ApiDocument
{
    public static Task Complete(OpenApiDocument document)
    {
        foreach (var schema in (document.Components?.Schemas ?? new Dictionary<string, IOpenApiSchema>()).Values.OfType<OpenApiSchema>())
        {
            if (schema.Enum is { Count: > 0 } words)
            {
                schema.Type = JsonSchemaType.String;
                schema.Enum = [.. words.Where(w => w?.GetValueKind() == System.Text.Json.JsonValueKind.String)];
            }

            foreach (var (name, property) in (schema.Properties ?? new Dictionary<string, IOpenApiSchema>()).ToArray())
                if (property.OneOf is [OpenApiSchema { Type: JsonSchemaType.Null }, OpenApiSchemaReference reference])
                    schema.Properties![name] = new OpenApiSchema { Type = JsonSchemaType.Null | (reference.Enum is { Count: > 0 } ? JsonSchemaType.String : JsonSchemaType.Object), AllOf = [reference] };
        }

        return Task.CompletedTask;
    }
}
