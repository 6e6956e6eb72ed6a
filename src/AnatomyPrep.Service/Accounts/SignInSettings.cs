using AnatomyPrep.Service.Hosting;

namespace AnatomyPrep.Service.Accounts;

/// <summary>An organisation whose people sign in by OpenID Connect.</summary>
public sealed record SignInSettings
{
    /// <summary>Issuer; https, or http to loopback.</summary>
    public required string Authority { get; init; }

    public required string ClientId { get; init; }

    public required string ClientSecretFile { get; init; }

    /// <summary>Claim of the identity token that becomes the name of the account.</summary>
    public string NameClaim { get; init; } = "preferred_username";

    /// <summary>Claim whose values say the role.</summary>
    public string RoleClaim { get; init; } = "roles";

    /// <summary>Which role a value of that claim gives; the first that applies, in the order of the roles.</summary>
    public required IReadOnlyDictionary<string, string> Roles { get; init; }

    /// <summary>Networks the issuer's address must be in; empty for any but link-local ones.</summary>
    public IReadOnlyList<string> Networks { get; init; } = [];

    internal void Check()
    {
        ServiceSettings.Require(ServiceSettings.IsSafeAddress(Authority), "signIn.authority", Authority, "an https address, or http to loopback");
        ServiceSettings.Require(ClientId.Length > 0, "signIn.clientId", ClientId, "the id that the issuer knows this service by");
        ServiceSettings.Require(File.Exists(ClientSecretFile), "signIn.clientSecretFile", "not there", "a file that is there");
        ServiceSettings.Require(Roles.Count > 0 && Roles.Values.All(Accounts.Roles.All.Contains), "signIn.roles", string.Join(", ", Roles.Values), string.Join(", ", Accounts.Roles.All));
        ServiceSettings.RequireNetworks(Networks, "signIn.networks");
    }

    /// <summary>The role for the values of a person; null for none.</summary>
    internal string? RoleOf(IEnumerable<string> values)
    {
        var given = values.Select(v => Roles.GetValueOrDefault(v)).OfType<string>().ToHashSet();
        return Accounts.Roles.All.FirstOrDefault(given.Contains);
    }
}
