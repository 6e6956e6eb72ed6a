using System.Security.Cryptography;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Records.Ledgers.Events;

/// <summary>What the ledger keeps of a finished run, read from its folder; the record, named by hash, holds the rest.</summary>
public static class RunEntry
{
    /// <summary>Files of a run that questions may name by hash.</summary>
    private static readonly string[] s_kept = ["model.stl", "model.3mf", "model.ply", "report.pdf"];

    /// <param name="preparer">On whose behalf it ran.</param>
    /// <exception cref="CheckFailedException">The folder's record does not hold.</exception>
    public static (SourceReceivedBody Source, RunBody Run, RunRequest Request) Of(string folder, string preparer)
    {
        var report = RecordVerifier.Verify(folder, null, null, RunContext.Default);
        var statement = report.Require();
        var run = statement.Run;
        var body = new RunBody(
            run.RunId,
            Convert.ToHexStringLower(SHA256.HashData(File.ReadAllBytes(Path.Combine(folder, RecordFiles.Record)))),
            report.SignerKeyId!,
            run.Source.TreeSha256,
            run.Plan.Name,
            run.Plan.Sha256,
            run.Software.NameAndRevision(),
            preparer,
            [.. run.Findings.Select(f => new FindingFact(f.Code, f.Severity)).Distinct()],
            [.. statement.Subjects.Where(s => s_kept.Contains(s.Name)).Select(s => new NamedFile(s.Name, s.Sha256))]);
        return (new SourceReceivedBody(run.Source.TreeSha256, run.Source.Files.Count), body, run.Request);
    }
}
