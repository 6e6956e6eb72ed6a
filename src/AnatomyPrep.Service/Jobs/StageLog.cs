using System.Globalization;

namespace AnatomyPrep.Service.Jobs;

/// <summary>One line of what a worker says of its progress.</summary>
internal sealed record StageMark(double Seconds, double Share, string Stage);

/// <summary>Reads the file to which a worker appends each stage as it begins.</summary>
internal static class StageLog
{
    private const int LongestBytes = 1 << 16;
    private const int LongestStage = 80;

    /// <summary>Whole lines, in order; none where the file is not there yet.</summary>
    public static IReadOnlyList<StageMark> Read(string path)
    {
        try
        {
            using var file = new FileStream(path, FileMode.Open, FileAccess.Read, FileShare.ReadWrite | FileShare.Delete);
            var bytes = new byte[Math.Min(file.Length, LongestBytes)];
            file.ReadExactly(bytes);
            return [.. System.Text.Encoding.UTF8.GetString(bytes).Split('\n')[..^1].Select(Parse).OfType<StageMark>()];
        }
        catch (IOException)
        {
            return [];
        }
    }

    private static StageMark? Parse(string line) =>
        line.Split(' ', 3) is [var milliseconds, var share, { Length: > 0 } stage]
        && double.TryParse(milliseconds, CultureInfo.InvariantCulture, out var time)
        && double.TryParse(share, CultureInfo.InvariantCulture, out var part)
            ? new(time / 1000, part, stage.Length > LongestStage ? stage[..LongestStage] : stage)
            : null;
}
