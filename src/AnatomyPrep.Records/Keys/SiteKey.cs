using System.Security.Cryptography;
using System.Text;

namespace AnatomyPrep.Records.Keys;

/// <summary>What an identifier names. Part of the pseudonym, so that a study and a patient with one number do not meet.</summary>
public enum IdentifierKind
{
    Study,
    Series,
    FrameOfReference,
    Patient,
    Instance,
    Delivery,
}

/// <summary>The secret of a site that turns identifiers into pseudonyms.</summary>
/// <remarks>
/// Method: HMAC-SHA-256(site key, kind ‖ 00 ‖ identifier), hex. The same identifier gives the same pseudonym at one site, so
///   records of one study can be found; without the key nobody can try out identifiers, though there are few of them.
/// </remarks>
public sealed class SiteKey
{
    private const int KeyBytes = 32;

    private readonly byte[] _key;

    private SiteKey(byte[] key) => _key = key;

    public static SiteKey Create() => new(RandomNumberGenerator.GetBytes(KeyBytes));

    /// <summary>The pseudonym, 64 hex digits; null for a missing identifier. Trailing DICOM padding does not count.</summary>
    public string? Pseudonym(IdentifierKind kind, string? identifier)
    {
        var bare = identifier?.TrimEnd('\0', ' ');
        return string.IsNullOrEmpty(bare)
            ? null
            : Convert.ToHexStringLower(HMACSHA256.HashData(_key, Encoding.UTF8.GetBytes($"{Label(kind)}\0{bare}")));
    }

    internal static SiteKey? TryParse(string hex)
    {
        try
        {
            var key = Convert.FromHexString(hex.TrimEnd('\n'));
            return key.Length == KeyBytes ? new SiteKey(key) : null;
        }
        catch (FormatException)
        {
            return null;
        }
    }

    internal string ToText() => Convert.ToHexStringLower(_key) + "\n";

    private static string Label(IdentifierKind kind) => kind switch
    {
        IdentifierKind.Study => "study",
        IdentifierKind.Series => "series",
        IdentifierKind.FrameOfReference => "frameOfReference",
        IdentifierKind.Patient => "patient",
        IdentifierKind.Instance => "instance",
        IdentifierKind.Delivery => "delivery",
        _ => throw new ArgumentOutOfRangeException(nameof(kind), kind, "Not a kind of identifier."),
    };
}
