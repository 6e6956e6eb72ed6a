using System.Security.Cryptography;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.App.Pipeline;

/// <summary>One artifact of a record beside what the replay made.</summary>
internal sealed record ReplayedFile(string Name, bool Identical, bool ExpectedToDiffer, string RecordedSha256, string? ReplayedSha256);

/// <summary>The outcome of a replay.</summary>
internal sealed record ReplayResult(
    bool Identical, bool SameSoftware, string RecordedSoftware, string ThisSoftware, IReadOnlyList<ReplayedFile> Files);

/// <summary>Makes a recorded model again, from the source it names by hash and the plan it holds.</summary>
internal sealed class Replay(Workbench bench)
{
    /// <exception cref="CheckFailedException">The record does not hold, or the source is not the one it names.</exception>
    /// <exception cref="BadInputException">The source is not known on this machine.</exception>
    public ReplayResult Run(string folder, string? sourcePath, IReadOnlyDictionary<string, string> partPaths, RunContext run)
    {
        var statement = RecordVerifier.Verify(folder, null, null, run).Require();
        var recorded = statement.Run;
        var known = new KnownSources(bench.Folders);
        sourcePath ??= known.Find(recorded.Source.TreeSha256)
            ?? throw new BadInputException("replay", "source", "not known on this machine", "Say where it lies with --source.");

        using var source = new SourceLoader(bench.Folders).LoadAgain(sourcePath, recorded.Source, PartPath, run, recorded.Request.IdentifiersExported == true);
        if (source.Facts.TreeSha256 != recorded.Source.TreeSha256)
            throw new CheckFailedException("source", recorded.Source.TreeSha256, source.Facts.TreeSha256);
        var plan = bench.Plans.Parse(recorded.Plan.Text, recorded.Plan.Name);
        var aside = Directory.CreateTempSubdirectory("anatomyprep-replay-");
        try
        {
            var facts = new ModelMaker(bench.Catalog, bench.Clock)
                .Make(source, plan, recorded.Request, aside.FullName, new RunTimes(recorded.StartedAt, recorded.FinishedAt), run);
            File.WriteAllBytes(Path.Combine(aside.FullName, RecordFiles.Run), RecordWriter.RunFile(facts));
            return Compare(statement, aside.FullName);
        }
        finally
        {
            aside.Delete(recursive: true);
        }

        string PartPath(string name, string sha256) => partPaths.GetValueOrDefault(name) ?? known.Find(sha256)
            ?? throw new BadInputException("replay", "part", $"{name} is not known on this machine", $"Say where it lies with --part {name}=FILE.");
    }

    private static ReplayResult Compare(RunStatement statement, string aside)
    {
        var recorded = statement.Run.Software;
        var here = SoftwareIdentity.Facts;
        var same = recorded.Version == here.Version && recorded.Commit == here.Commit && recorded.Runtime == here.Runtime && recorded.Os == here.Os;
        var files = statement.Subjects.Select(s =>
        {
            var path = Path.Combine(aside, s.Name);
            var sha256 = File.Exists(path) ? Convert.ToHexStringLower(SHA256.HashData(File.ReadAllBytes(path))) : null;
            return new ReplayedFile(s.Name, sha256 == s.Sha256, !same && s.Name is (RecordFiles.Run or RecordFiles.Report or RecordFiles.Label), s.Sha256, sha256);
        }).ToArray();
        return new(files.All(f => f.Identical || f.ExpectedToDiffer), same, Name(recorded), Name(here), files);
    }

    private static string Name(SoftwareFacts s) => $"{s.Name} {s.Version} {s.Commit ?? "without revision"} on {s.Runtime}, {s.Os}";
}
