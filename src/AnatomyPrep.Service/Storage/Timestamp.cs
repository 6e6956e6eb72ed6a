using System.Globalization;

namespace AnatomyPrep.Service.Storage;

/// <summary>Times as texts that sort as the times do.</summary>
internal static class Timestamp
{
    private const string Format = "yyyy-MM-dd'T'HH:mm:ss.fff'Z'";

    public static string Text(DateTimeOffset at) => at.UtcDateTime.ToString(Format, CultureInfo.InvariantCulture);

    public static DateTimeOffset Parse(string text) => DateTimeOffset.ParseExact(text, Format, CultureInfo.InvariantCulture, DateTimeStyles.AssumeUniversal);
}
