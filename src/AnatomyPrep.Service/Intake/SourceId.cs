using System.Security.Cryptography;
using System.Text;

namespace AnatomyPrep.Service.Intake;

/// <summary>The number of a source: the same images of the same series give the same, however often and from wherever they come.</summary>
internal static class SourceId
{
    /// <summary>SHA-256, hex, over the pseudonyms of series and images (a UID never names two different images).</summary>
    public static string Of(string seriesKey, IEnumerable<string> fileKeys)
    {
        var text = string.Join('\n', fileKeys.Order(StringComparer.Ordinal).Prepend(seriesKey).Prepend("ct-series"));
        return Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes(text)));
    }
}
