using AnatomyPrep.Service.Hosting;

namespace AnatomyPrep.Service.Dicomweb;

/// <summary>An archive that may be asked for series by DICOMweb.</summary>
public sealed record ArchiveSettings
{
    public required string Name { get; init; }

    /// <summary>What comes before /studies and /series; https, or http to loopback.</summary>
    public required string Url { get; init; }

    /// <summary>File with a token that is sent as Authorization: Bearer; null for none.</summary>
    public string? TokenFile { get; init; }

    /// <summary>Networks its address must be in; empty for any but link-local ones.</summary>
    public IReadOnlyList<string> Networks { get; init; } = [];

    internal void Check()
    {
        ServiceSettings.Require(Name.Length is >= 1 and <= 40 && Name.All(c => char.IsAsciiLetterOrDigit(c) || c == '-'), "archives.name", Name, "1 to 40 letters, digits and -");
        ServiceSettings.Require(ServiceSettings.IsSafeAddress(Url) && new Uri(Url).Query.Length == 0, "archives.url", Name, "an https address, or http to loopback, without user and query");
        ServiceSettings.Require(TokenFile is null || File.Exists(TokenFile), "archives.tokenFile", Name, "a file that is there");
        ServiceSettings.RequireNetworks(Networks, "archives.networks");
    }
}
