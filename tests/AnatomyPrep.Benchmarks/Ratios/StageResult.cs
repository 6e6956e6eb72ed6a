using System.Text.Json;

namespace AnatomyPrep.Benchmarks.Ratios;

/// <summary>One stage measured: median seconds, and resident memory before and at its highest.</summary>
internal sealed record StageResult(double Seconds, double PeakMb, double BaseMb)
{
    /// <summary>Reads the last JSON line that a stage printed; null where it printed none.</summary>
    public static StageResult? Parse(string output)
    {
        var line = output.Split('\n').LastOrDefault(l => l.StartsWith('{'));
        if (line is null)
            return null;
        using var document = JsonDocument.Parse(line);
        var root = document.RootElement;
        return root.TryGetProperty("seconds", out var seconds)
            ? new(seconds.GetDouble(), Number(root, "peak_mb"), Number(root, "base_mb"))
            : null;
    }

    private static double Number(JsonElement root, string name) =>
        root.TryGetProperty(name, out var value) && value.ValueKind == JsonValueKind.Number ? value.GetDouble() : double.NaN;
}
