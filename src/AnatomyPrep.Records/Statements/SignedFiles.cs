using System.Globalization;
using System.Text;
using System.Text.Json.Nodes;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Canonical;
using AnatomyPrep.Records.Envelopes;
using AnatomyPrep.Records.Keys;

namespace AnatomyPrep.Records.Statements;

/// <summary>The checks that every signed statement of a folder goes through: envelope, key, signature, and the files it names.</summary>
/// <remarks>See <see cref="RecordVerifier"/> for what they rely on; everything wrong is noted as a check, nothing is thrown.</remarks>
/// <param name="folder">Where envelope, key and files lie.</param>
/// <param name="shownAs">What goes before each name in the checks: the place of the folder below that of the run.</param>
internal sealed class SignedFiles(string folder, string shownAs, string envelopeName, string keyName, RunContext run)
{
    private const long LargestEnvelopeBytes = 1 << 26;
    private const long LargestKeyBytes = 1 << 14;

    public List<RecordCheck> Checks { get; } = [];

    public List<string> Notes { get; } = [];

    /// <summary>What was signed; for a diagnosis even when no signature holds. Null when there is no envelope to read.</summary>
    public byte[]? Payload { get; private set; }

    public SignerTrust Trust { get; private set; }

    public string? SignerKeyId { get; private set; }

    /// <param name="trusted">One of them must have signed; none: the key beside the envelope is used.</param>
    public void CheckSignature(IReadOnlyList<VerificationKey> trusted)
    {
        using var beside = ReadKeyBeside();
        var envelope = ReadEnvelope();
        if (envelope is null)
            return;
        Payload = envelope.Payload.ToArray();
        Expect(envelopeName, "payload type", RecordChecks.Envelope, Dsse.InTotoPayloadType, envelope.PayloadType);
        Expect(envelopeName, "signatures", RecordChecks.Envelope, "1", Text(envelope.Signatures.Count));
        var hint = envelope.Signatures[0].KeyId ?? "none";
        IReadOnlyList<VerificationKey> keys = trusted.Count > 0 ? trusted : beside is null ? [] : [beside];
        if (keys.Count == 0)
        {
            Add(envelopeName, RecordChecks.Signature, false, "a key to check it with", "none");
            return;
        }

        if (SignerAmong(envelope, keys) is { } key)
        {
            Trust = trusted.Count == 0 ? SignerTrust.KeyBesideRecord : SignerTrust.TrustedKey;
            SignerKeyId = key.KeyId;
            Expect(envelopeName, "key hint", RecordChecks.KeyHint, key.KeyId, hint);
            if (trusted.Count > 0 && beside is not null)
                Expect(keyName, "fingerprint", RecordChecks.PublicKey, key.KeyId, beside.KeyId);
        }
        else if (beside is not null && beside.KeyId != hint)
        {
            Add(keyName, RecordChecks.PublicKey, false, $"the key the record names, {hint}", beside.KeyId);
        }
    }

    /// <summary>Every subject is there, of its size and hash.</summary>
    /// <param name="files">Names below the folder, and whether each is a link.</param>
    public void CheckSubjects(IReadOnlyList<Subject> subjects, IReadOnlyDictionary<string, bool> files)
    {
        for (var i = 0; i < subjects.Count; i++)
        {
            CheckSubject(subjects[i], files);
            run.Report("verify", "hashing", (i + 1.0) / subjects.Count);
        }
    }

    /// <summary>A subject that lays the predicate out for people must say what the statement says, however it is laid out.</summary>
    public void CheckLaidOut(string name, JsonObject? predicate, IReadOnlyList<Subject> subjects, IReadOnlyDictionary<string, bool> files)
    {
        if (!subjects.Any(s => s.Name == name))
        {
            Add(name, RecordChecks.Present, false, "a file the statement is about", "not one of them");
            return;
        }

        if (!files.TryGetValue(name, out var isLink) || isLink)
            return;
        var bytes = ReadSmall(name, LargestEnvelopeBytes, RecordChecks.SameAsStatement);
        if (bytes is null)
            return;
        try
        {
            var difference = JsonDifference.First(predicate, CanonicalJson.Parse(bytes));
            Add(
                difference is null ? name : $"{name} {difference.Where}",
                RecordChecks.SameAsStatement,
                difference is null,
                difference?.Expected ?? "as in the statement",
                difference?.Found ?? "as in the statement");
        }
        catch (StrictJsonException e)
        {
            Add(name, RecordChecks.SameAsStatement, false, "strict JSON", e.Message);
        }
    }

    /// <summary>The statement that was signed; null where there is none, or it is not of its kind.</summary>
    public T? ReadStatement<T>(Func<byte[], T> parse)
        where T : class
    {
        if (Payload is not { } payload)
            return null;
        try
        {
            var statement = parse(payload);
            Add(envelopeName, RecordChecks.Statement, true, "a statement of its kind", "a statement of its kind");
            return statement;
        }
        catch (CheckFailedException e)
        {
            Add(envelopeName, RecordChecks.Statement, false, $"{e.Check}: {e.Expected}", e.Found);
            return null;
        }
    }

    public void Computed(string field, string expected, JsonNode? found) =>
        AddAs(shownAs.Length == 0 ? field : $"{shownAs}{envelopeName} {field}", RecordChecks.Computed, $"value {expected}", $"value {(found is JsonValue value && value.TryGetValue<string>(out var text) ? text : "nothing")}");

    public void Expect(string name, string what, string check, string expected, string found) =>
        AddAs(shownAs + name, check, $"{what} {expected}", $"{what} {found}");

    public void Add(string name, string check, bool holds, string expected, string found) =>
        Checks.Add(new RecordCheck(shownAs + name, check, holds, expected, found));

    /// <summary>Null when the file cannot be read. An empty one is not opened: a pipe or device has no length either.</summary>
    public static (string Sha256, long Bytes)? TryHash(string path, RunContext run)
    {
        try
        {
            return new FileInfo(path).Length == 0
                ? (Convert.ToHexStringLower(System.Security.Cryptography.SHA256.HashData([])), 0)
                : FolderFiles.Hash(path, run);
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException)
        {
            return null;
        }
    }

    private VerificationKey? ReadKeyBeside()
    {
        var bytes = ReadSmall(keyName, LargestKeyBytes, RecordChecks.PublicKey);
        if (bytes is null)
            return null;
        try
        {
            var text = Encoding.UTF8.GetString(bytes);
            var key = VerificationKey.FromPem(text, keyName);
            var isExact = key.Pem == text;
            Add(keyName, RecordChecks.ExactForm, isExact, "PEM as this program writes it", isExact ? "the same" : "another layout");
            return key;
        }
        catch (BadInputException e)
        {
            Add(keyName, RecordChecks.PublicKey, false, "PEM of an ECDSA P-256 public key", e.Value);
            return null;
        }
    }

    private DsseEnvelope? ReadEnvelope()
    {
        var bytes = ReadSmall(envelopeName, LargestEnvelopeBytes, RecordChecks.Envelope);
        if (bytes is null)
            return null;
        try
        {
            var envelope = DsseEnvelope.Parse(bytes);
            var isExact = envelope.ToBytes().AsSpan().SequenceEqual(bytes);
            Add(envelopeName, RecordChecks.ExactForm, isExact, "canonical JSON, standard base64", isExact ? "the same" : "another layout");
            return envelope;
        }
        catch (CheckFailedException e)
        {
            Add(envelopeName, RecordChecks.Envelope, false, $"{e.Check}: {e.Expected}", e.Found);
            return null;
        }
    }

    private VerificationKey? SignerAmong(DsseEnvelope envelope, IReadOnlyList<VerificationKey> keys)
    {
        try
        {
            var verified = Dsse.Verify(envelope, keys);
            Payload = verified.Bytes.ToArray();
            var signer = verified.Signers[0];
            Add(envelopeName, RecordChecks.Signature, true, $"signed with {signer.KeyId}", $"signed with {signer.KeyId}");
            return signer;
        }
        catch (CheckFailedException)
        {
            Add(envelopeName, RecordChecks.Signature, false, $"signed with {string.Join(" or ", keys.Select(k => k.KeyId))}", "no valid signature with this key");
            return null;
        }
    }

    private void CheckSubject(Subject subject, IReadOnlyDictionary<string, bool> files)
    {
        if (!files.TryGetValue(subject.Name, out var isLink))
        {
            Add(subject.Name, RecordChecks.Present, false, "a file", "nothing");
            return;
        }

        var path = Path.Combine(folder, subject.Name);
        if (isLink)
        {
            Add(subject.Name, RecordChecks.Present, false, "a file", "a link");
            return;
        }

        Expect(subject.Name, "bytes", RecordChecks.Size, Text(subject.Bytes), Text(new FileInfo(path).Length));
        Expect(subject.Name, "SHA-256", RecordChecks.Hash, subject.Sha256, TryHash(path, run)?.Sha256 ?? "not readable");
    }

    private byte[]? ReadSmall(string name, long largest, string check)
    {
        var file = new FileInfo(Path.Combine(folder, name));
        var found = !file.Exists ? "nothing"
            : file.LinkTarget is not null ? "a link"
            : file.Length > largest ? $"{file.Length} bytes"
            // A pipe or device has no length either, and reading one might never end.
            : file.Length == 0 ? "an empty file"
            : null;
        if (found is null)
        {
            try
            {
                return File.ReadAllBytes(file.FullName);
            }
            catch (Exception e) when (e is IOException or UnauthorizedAccessException)
            {
                found = "not readable";
            }
        }

        Add(name, check, false, $"a file of at most {largest} bytes", found);
        return null;
    }

    private void AddAs(string thing, string check, string expected, string found) =>
        Checks.Add(new RecordCheck(thing, check, expected == found, expected, found));

    private static string Text(long value) => value.ToString(CultureInfo.InvariantCulture);
}
