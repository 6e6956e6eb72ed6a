using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Inspections;

namespace AnatomyPrep.Records.Statements;

/// <summary>One thing that was checked.</summary>
/// <param name="Thing">File or field, without folders outside the record's own.</param>
/// <param name="Check">What about it, from <see cref="RecordChecks"/>.</param>
public sealed record RecordCheck(string Thing, string Check, bool Holds, string Expected, string Found);

/// <summary>What the signature is worth.</summary>
public enum SignerTrust
{
    /// <summary>No signature holds.</summary>
    None,

    /// <summary>Nothing changed since signing; who signed is not shown, because the key came with the record.</summary>
    KeyBesideRecord,

    /// <summary>Signed with a key the verifier trusts.</summary>
    TrustedKey,
}

/// <summary>Everything that was checked about a record, in a fixed order.</summary>
/// <param name="Holds">True when every check holds.</param>
/// <param name="SignerKeyId">SHA-256 of the signer's public key; null when no signature holds.</param>
/// <param name="Statement">What the record says; not to be believed unless the signature holds. Null when unreadable.</param>
/// <param name="Notes">What the reader should know besides.</param>
public sealed record VerificationReport(
    bool Holds,
    SignerTrust Trust,
    string? SignerKeyId,
    IReadOnlyList<RecordCheck> Checks,
    IReadOnlyList<string> Notes,
    RunStatement? Statement)
{
    public IEnumerable<RecordCheck> Failed => Checks.Where(c => !c.Holds);

    /// <summary>What was added to the record later, in order; not to be believed unless everything holds.</summary>
    public IReadOnlyList<Addition> Additions { get; init; } = [];

    /// <summary>What the record says, where everything holds.</summary>
    /// <exception cref="CheckFailedException">Something does not hold.</exception>
    public RunStatement Require() => Holds && Statement is { } statement
        ? statement
        : throw new CheckFailedException("record", "a record that holds", string.Join("; ", Failed.Select(f => $"{f.Thing}: {f.Check}")));
}

/// <summary>Stable names of the checks.</summary>
public static class RecordChecks
{
    public const string Code = "code";
    public const string Envelope = "envelope";
    public const string ExactForm = "exact-form";
    public const string PublicKey = "public-key";
    public const string Signature = "signature";
    public const string KeyHint = "key-hint";
    public const string Statement = "statement";
    public const string Computed = "computed-field";
    public const string Times = "times";
    public const string Present = "present";
    public const string Size = "size";
    public const string Hash = "hash";
    public const string Expected = "expected-file";
    public const string SameAsStatement = "same-as-statement";
    public const string SourceFile = "source-file";
    public const string Chain = "chain";
}
