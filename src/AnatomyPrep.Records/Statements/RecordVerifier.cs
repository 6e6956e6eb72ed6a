using System.Globalization;
using System.Text;
using System.Text.Json.Nodes;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Canonical;
using AnatomyPrep.Records.Envelopes;
using AnatomyPrep.Records.Keys;

namespace AnatomyPrep.Records.Statements;

/// <summary>Checks a record against the files beside it, offline, from nothing but those files and a key.</summary>
/// <remarks>
/// Trusts no stored hash and no name: every hash is computed from the files, every derived field from the fields it derives
///   from. The bytes whose signature was checked are the bytes that are parsed.
/// Any change of one byte of an artifact, of record.json or of record.pub.pem fails a check that names the file. That takes
///   more than the signature: the envelope must be in the exact form this program writes (a space, or '-' for '+' in base64,
///   would leave the signed bytes alone), the key hint must name the signer, the key file must be in its exact form.
/// Safe on hostile input: sizes are limited, links are not followed, nothing outside the folder is opened. What is wrong
///   with the record is reported, not thrown.
/// Memory: some five times the size of record.json, plus 1 MB.
/// </remarks>
public static class RecordVerifier
{
    private const long LargestRecordBytes = 1 << 26;
    private const long LargestKeyBytes = 1 << 14;

    /// <summary>Checks the record and all it speaks of.</summary>
    /// <param name="path">The folder of a run, or its record.json.</param>
    /// <param name="trusted">
    /// The key the record must be signed with. Without it the key beside the record is used, which shows that nothing changed
    /// but not who signed.
    /// </param>
    /// <param name="sourceFolder">Folder that should hold the source files, under any names; null to leave them unchecked.</param>
    /// <exception cref="BadInputException">There is no record at the path.</exception>
    public static VerificationReport Verify(string path, VerificationKey? trusted, string? sourceFolder, RunContext run)
    {
        var folder = Directory.Exists(path) ? path : Path.GetDirectoryName(Path.GetFullPath(path))!;
        var name = Directory.Exists(path) ? RecordFiles.Record : Path.GetFileName(path);
        if (!File.Exists(Path.Combine(folder, name)))
            throw new BadInputException(name, "file", "not there", "Name the folder of a run, or its record.json.");
        var checks = new Checks(folder, name, run);
        checks.CheckSignature(trusted);
        checks.CheckStatement();
        checks.CheckArtifacts();
        if (sourceFolder is not null)
            checks.CheckSource(sourceFolder);
        return checks.Report();
    }

    private sealed class Checks(string folder, string recordName, RunContext run)
    {
        private readonly List<RecordCheck> _checks = [];
        private readonly List<string> _notes = [];
        private byte[]? _payload;
        private JsonObject? _predicate;
        private RunStatement? _statement;
        private SignerTrust _trust;
        private string? _signerKeyId;

        public VerificationReport Report() =>
            new(_checks.TrueForAll(c => c.Holds), _trust, _signerKeyId, _checks, _notes, _statement);

        public void CheckSignature(VerificationKey? trusted)
        {
            using var beside = ReadKeyBesideRecord();
            var envelope = ReadEnvelope();
            if (envelope is null)
                return;
            // Kept for a diagnosis even when no signature holds; replaced by the verified bytes when one does.
            _payload = envelope.Payload.ToArray();
            Expect(recordName, "payload type", RecordChecks.Envelope, Dsse.InTotoPayloadType, envelope.PayloadType);
            Expect(recordName, "signatures", RecordChecks.Envelope, "1", Text(envelope.Signatures.Count));
            var hint = envelope.Signatures[0].KeyId ?? "none";
            var key = trusted ?? beside;
            if (key is null)
            {
                Add(recordName, RecordChecks.Signature, false, "a key to check it with", "none");
                return;
            }

            if (VerifyWith(envelope, key))
            {
                _trust = trusted is null ? SignerTrust.KeyBesideRecord : SignerTrust.TrustedKey;
                _signerKeyId = key.KeyId;
                Expect(recordName, "key hint", RecordChecks.KeyHint, key.KeyId, hint);
                if (trusted is null)
                    _notes.Add("The key that checks the signature came with the record: this shows that nothing changed since signing, "
                        + "not who signed. To know that, give a public key you have from the signer.");
                else if (beside is not null)
                    Expect(RecordFiles.PublicKey, "fingerprint", RecordChecks.PublicKey, key.KeyId, beside.KeyId);
            }
            else if (beside is not null && beside.KeyId != hint)
            {
                Add(RecordFiles.PublicKey, RecordChecks.PublicKey, false, $"the key the record names, {hint}", beside.KeyId);
            }
        }

        public void CheckStatement()
        {
            if (_payload is null)
                return;
            try
            {
                _statement = RunStatement.Parse(_payload);
                _predicate = CanonicalJson.Parse(_payload)!["predicate"]!.AsObject();
                Add(recordName, RecordChecks.Statement, true, "a statement about a run", "a statement about a run");
            }
            catch (CheckFailedException e)
            {
                Add(recordName, RecordChecks.Statement, false, $"{e.Check}: {e.Expected}", e.Found);
                return;
            }

            if (!_statement.ToBytes().AsSpan().SequenceEqual(_payload))
                _notes.Add("The record holds fields that this version of the program does not know, or is laid out in another way; "
                    + "the signature covers them, the checks here do not.");
            var facts = _statement.Run;
            Computed("warning", EducationAndPlanning.Warning, _predicate["warning"]);
            Computed("plan.sha256", facts.Plan.Sha256, _predicate["plan"]?["sha256"]);
            Computed("source.treeSha256", facts.Source.TreeSha256, _predicate["source"]?["treeSha256"]);
            Computed("runId", facts.RunId, _predicate["runId"]);
            Add(
                "finishedAt",
                RecordChecks.Times,
                facts.FinishedAt >= facts.StartedAt,
                $"not before {RecordTime.Text(facts.StartedAt)}",
                RecordTime.Text(facts.FinishedAt));
        }

        public void CheckArtifacts()
        {
            if (_statement is null)
                return;
            var files = FolderFiles.List(folder).ToDictionary(f => f.Name, f => f.IsLink, StringComparer.Ordinal);
            foreach (var (subject, done) in _statement.Subjects.Select((s, i) => (s, i + 1)))
            {
                CheckArtifact(subject, files);
                run.Report("verify", "hashing", (double)done / _statement.Subjects.Count);
            }

            var known = _statement.Subjects.Select(s => s.Name).ToHashSet(StringComparer.Ordinal);
            foreach (var name in files.Keys.Where(n => n != recordName && n != RecordFiles.PublicKey && !known.Contains(n)))
                Add(name, RecordChecks.Expected, false, "no such file in the record", "a file in the folder");
            CheckRunFile(known, files);
        }

        public void CheckSource(string sourceFolder)
        {
            if (_statement is null)
                return;
            var present = new HashSet<string>(StringComparer.Ordinal);
            foreach (var (name, isLink) in FolderFiles.List(sourceFolder))
                if (!isLink && TryHash(Path.Combine(sourceFolder, name)) is { } hash)
                    present.Add(hash.Sha256);
            var files = _statement.Run.Source.Files;
            for (var i = 0; i < files.Count; i++)
                Add($"source file {i + 1} of {files.Count}", RecordChecks.SourceFile, present.Contains(files[i].Sha256), files[i].Sha256,
                    present.Contains(files[i].Sha256) ? files[i].Sha256 : "no file with this hash");
        }

        private VerificationKey? ReadKeyBesideRecord()
        {
            var bytes = ReadSmall(RecordFiles.PublicKey, LargestKeyBytes, RecordChecks.PublicKey);
            if (bytes is null)
                return null;
            try
            {
                var text = Encoding.UTF8.GetString(bytes);
                var key = VerificationKey.FromPem(text, RecordFiles.PublicKey);
                var isExact = key.Pem == text;
                Add(RecordFiles.PublicKey, RecordChecks.ExactForm, isExact, "PEM as this program writes it", isExact ? "the same" : "another layout");
                return key;
            }
            catch (BadInputException e)
            {
                Add(RecordFiles.PublicKey, RecordChecks.PublicKey, false, "PEM of an ECDSA P-256 public key", e.Value);
                return null;
            }
        }

        private DsseEnvelope? ReadEnvelope()
        {
            var bytes = ReadSmall(recordName, LargestRecordBytes, RecordChecks.Envelope);
            if (bytes is null)
                return null;
            try
            {
                var envelope = DsseEnvelope.Parse(bytes);
                var isExact = envelope.ToBytes().AsSpan().SequenceEqual(bytes);
                Add(recordName, RecordChecks.ExactForm, isExact, "canonical JSON, standard base64", isExact ? "the same" : "another layout");
                return envelope;
            }
            catch (CheckFailedException e)
            {
                Add(recordName, RecordChecks.Envelope, false, $"{e.Check}: {e.Expected}", e.Found);
                return null;
            }
        }

        private bool VerifyWith(DsseEnvelope envelope, VerificationKey key)
        {
            try
            {
                _payload = Dsse.Verify(envelope, [key]).Bytes.ToArray();
                Add(recordName, RecordChecks.Signature, true, $"signed with {key.KeyId}", $"signed with {key.KeyId}");
                return true;
            }
            catch (CheckFailedException)
            {
                Add(recordName, RecordChecks.Signature, false, $"signed with {key.KeyId}", "no valid signature with this key");
                return false;
            }
        }

        private void CheckArtifact(Subject subject, Dictionary<string, bool> files)
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
            Expect(subject.Name, "SHA-256", RecordChecks.Hash, subject.Sha256, TryHash(path)?.Sha256 ?? "not readable");
        }

        /// <summary>run.json must say what the statement says, however it is laid out.</summary>
        private void CheckRunFile(HashSet<string> known, Dictionary<string, bool> files)
        {
            if (!known.Contains(RecordFiles.Run))
            {
                Add(RecordFiles.Run, RecordChecks.Present, false, "a file the statement is about", "not one of them");
                return;
            }

            if (!files.TryGetValue(RecordFiles.Run, out var isLink) || isLink)
                return;
            var bytes = ReadSmall(RecordFiles.Run, LargestRecordBytes, RecordChecks.SameAsStatement);
            if (bytes is null)
                return;
            try
            {
                var difference = JsonDifference.First(_predicate, CanonicalJson.Parse(bytes));
                Add(
                    difference is null ? RecordFiles.Run : $"{RecordFiles.Run} {difference.Where}",
                    RecordChecks.SameAsStatement,
                    difference is null,
                    difference?.Expected ?? "as in the statement",
                    difference?.Found ?? "as in the statement");
            }
            catch (StrictJsonException e)
            {
                Add(RecordFiles.Run, RecordChecks.SameAsStatement, false, "strict JSON", e.Message);
            }
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

        /// <summary>Null when the file cannot be read. An empty one is not opened: a pipe or device has no length either.</summary>
        private (string Sha256, long Bytes)? TryHash(string path)
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

        private void Computed(string field, string expected, JsonNode? found) =>
            Expect(field, "value", RecordChecks.Computed, expected, found is JsonValue value && value.TryGetValue<string>(out var text) ? text : "nothing");

        private void Expect(string thing, string what, string check, string expected, string found) =>
            Add(thing, check, expected == found, $"{what} {expected}", $"{what} {found}");

        private void Add(string thing, string check, bool holds, string expected, string found) =>
            _checks.Add(new RecordCheck(thing, check, holds, expected, found));

        private static string Text(long value) => value.ToString(CultureInfo.InvariantCulture);
    }
}
