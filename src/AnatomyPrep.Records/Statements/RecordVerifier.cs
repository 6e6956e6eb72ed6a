using System.Text.Json.Nodes;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Canonical;
using AnatomyPrep.Records.Inspections;
using AnatomyPrep.Records.Keys;

namespace AnatomyPrep.Records.Statements;

/// <summary>Checks a record against the files beside it, offline, from nothing but those files and a key.</summary>
/// <remarks>
/// Trusts no stored hash and no name: every hash is computed from the files, every derived field from the fields it derives
///   from. The bytes whose signature was checked are the bytes that are parsed.
/// Any change of one byte of an artifact, of record.json or of record.pub.pem fails a check that names the file. That takes
///   more than the signature: the envelope must be in the exact form this program writes (a space, or '-' for '+' in base64,
///   would leave the signed bytes alone), the key hint must name the signer, the key file must be in its exact form.
/// What was added later, in the folder additions, is signed for itself and checked by <see cref="AdditionVerifier"/>.
/// Safe on hostile input: sizes are limited, links are not followed, nothing outside the folder is opened. What is wrong
///   with the record is reported, not thrown.
/// Memory: some five times the size of record.json, plus 1 MB.
/// </remarks>
public static class RecordVerifier
{
    /// <summary>Checks the record and all it speaks of.</summary>
    /// <param name="path">The folder of a run, or its record.json.</param>
    /// <param name="trusted">
    /// The key the record must be signed with. Without it the key beside the record is used, which shows that nothing changed
    /// but not who signed.
    /// </param>
    /// <param name="sourcePath">Folder that should hold the source files, under any names, or the one file there is; null to leave them unchecked.</param>
    /// <param name="inspectors">Further keys that may have signed additions; they count only beside a trusted key.</param>
    /// <exception cref="BadInputException">There is no record at the path.</exception>
    public static VerificationReport Verify(string path, VerificationKey? trusted, string? sourcePath, RunContext run, IReadOnlyList<VerificationKey>? inspectors = null)
    {
        var folder = Directory.Exists(path) ? path : Path.GetDirectoryName(Path.GetFullPath(path))!;
        var name = Directory.Exists(path) ? RecordFiles.Record : Path.GetFileName(path);
        if (!File.Exists(Path.Combine(folder, name)))
            throw new BadInputException(name, "file", "not there", "Name the folder of a run, or its record.json.");
        var checks = new Checks(folder, name, run);
        checks.CheckSignature(trusted);
        checks.CheckStatement();
        checks.CheckArtifacts();
        checks.CheckAdditions(trusted is null ? [] : [trusted, .. inspectors ?? []]);
        if (sourcePath is not null)
            checks.CheckSource(sourcePath);
        return checks.Report();
    }

    private sealed class Checks(string folder, string recordName, RunContext run)
    {
        private readonly SignedFiles _signed = new(folder, "", recordName, RecordFiles.PublicKey, run);
        private IReadOnlyList<Addition> _additions = [];
        private JsonObject? _predicate;
        private RunStatement? _statement;

        public VerificationReport Report() =>
            new(_signed.Checks.TrueForAll(c => c.Holds), _signed.Trust, _signed.SignerKeyId, _signed.Checks, _signed.Notes, _statement) { Additions = _additions };

        public void CheckSignature(VerificationKey? trusted)
        {
            _signed.CheckSignature(trusted is null ? [] : [trusted]);
            if (_signed.Trust == SignerTrust.KeyBesideRecord)
                _signed.Notes.Add("The key that checks the signature came with the record: this shows that nothing changed since signing, "
                    + "not who signed. To know that, give a public key you have from the signer.");
        }

        public void CheckStatement()
        {
            _statement = _signed.ReadStatement(bytes => RunStatement.Parse(bytes));
            if (_statement is null)
                return;
            _predicate = StatementJson.Predicate(_signed.Payload);
            if (!_statement.ToBytes().AsSpan().SequenceEqual(_signed.Payload))
                _signed.Notes.Add("The record holds fields that this version of the program does not know, or is laid out in another way; "
                    + "the signature covers them, the checks here do not.");
            var facts = _statement.Run;
            _signed.Computed("warning", EducationAndPlanning.Warning, _predicate["warning"]);
            _signed.Computed("plan.sha256", facts.Plan.Sha256, _predicate["plan"]?["sha256"]);
            _signed.Computed("source.treeSha256", facts.Source.TreeSha256, _predicate["source"]?["treeSha256"]);
            _signed.Computed("runId", facts.RunId, _predicate["runId"]);
            _signed.Add(
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
            _signed.CheckSubjects(_statement.Subjects, files);
            var known = _statement.Subjects.Select(s => s.Name).ToHashSet(StringComparer.Ordinal);
            foreach (var name in files.Keys.Where(n => n != recordName && n != RecordFiles.PublicKey && !AdditionFiles.IsAddition(n) && !known.Contains(n)))
                _signed.Add(name, RecordChecks.Expected, false, "no such file in the record", "a file in the folder");
            _signed.CheckLaidOut(RecordFiles.Run, _predicate, _statement.Subjects, files);
        }

        public void CheckAdditions(IReadOnlyList<VerificationKey> trusted)
        {
            if (_statement is null)
                return;
            var outcome = AdditionVerifier.Verify(folder, recordName, _statement, trusted, run);
            _signed.Checks.AddRange(outcome.Checks);
            foreach (var addition in outcome.Additions.Where(a => a.SignerKeyId is not null && a.SignerKeyId != _signed.SignerKeyId))
                _signed.Notes.Add($"Addition {addition.Number} is signed with another key than the record: {addition.SignerKeyId}.");
            _additions = outcome.Additions;
        }

        public void CheckSource(string sourcePath)
        {
            if (_statement is null)
                return;
            IEnumerable<string> paths = File.Exists(sourcePath) ? [sourcePath] : FolderFiles.List(sourcePath).Where(f => !f.IsLink).Select(f => Path.Combine(sourcePath, f.Name));
            var present = new HashSet<string>(StringComparer.Ordinal);
            foreach (var path in paths)
                if (SignedFiles.TryHash(path, run) is { } hash)
                    present.Add(hash.Sha256);
            var files = _statement.Run.Source.Files;
            for (var i = 0; i < files.Count; i++)
                _signed.Add($"source file {i + 1} of {files.Count}", RecordChecks.SourceFile, present.Contains(files[i].Sha256), files[i].Sha256,
                    present.Contains(files[i].Sha256) ? files[i].Sha256 : "no file with this hash");
        }
    }
}
