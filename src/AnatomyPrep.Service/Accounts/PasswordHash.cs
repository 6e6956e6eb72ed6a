using System.Security.Cryptography;
using NSec.Cryptography;

namespace AnatomyPrep.Service.Accounts;

/// <summary>Passwords as Argon2id hashes (RFC 9106), with the parameters beside them.</summary>
/// <remarks>64 MiB, 3 passes, one lane: the RFC's second recommended choice (section 4) but for its four lanes, which libsodium does not offer. About 0.2 s.</remarks>
internal sealed record PasswordHash(byte[] Salt, byte[] Hash, int MemoryKib, int Passes)
{
    private const int SaltBytes = 16;
    private const int HashBytes = 32;

    /// <summary>Stands in for an account that is not there, so that asking for one takes as long.</summary>
    public static PasswordHash Nobody { get; } = Of("nobody");

    public static PasswordHash Of(string password, int memoryKib = 64 << 10, int passes = 3)
    {
        var salt = RandomNumberGenerator.GetBytes(SaltBytes);
        return new(salt, Derive(password, salt, memoryKib, passes), memoryKib, passes);
    }

    public bool Matches(string password) => CryptographicOperations.FixedTimeEquals(Derive(password, Salt, MemoryKib, Passes), Hash);

    private static byte[] Derive(string password, byte[] salt, int memoryKib, int passes)
    {
        var parameters = new Argon2Parameters { DegreeOfParallelism = 1, MemorySize = memoryKib, NumberOfPasses = passes };
        return PasswordBasedKeyDerivationAlgorithm.Argon2id(parameters).DeriveBytes(password.Normalize(System.Text.NormalizationForm.FormC), salt, HashBytes);
    }
}
