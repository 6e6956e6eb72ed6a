using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Records.Statements;
using Microsoft.Extensions.Logging;

namespace AnatomyPrep.App.Pipeline;

/// <summary>A finished, signed and published run.</summary>
internal sealed record RecordedRun(string Folder, RunFacts Facts, IReadOnlyList<string> Files);

/// <summary>Makes a model, signs its record, and publishes the folder in one rename.</summary>
internal sealed class RunRecorder(Workbench bench, ILogger log)
{
    public RecordedRun Run(LoadedSource source, PlanText plan, RunRequest request, OutputFolder folder, RunContext run)
    {
        log.LogInformation("Run begins: plan {Plan}, source {Source}", plan.Plan.Name, source.Facts.TreeSha256[..12]);
        // Before the work: a key that cannot be opened must not cost a finished model.
        using var key = new KeyFolder(bench.Folders.Keys).OpenSigningKey();
        var facts = new ModelMaker(bench.Catalog, bench.Clock).Make(source, plan, request, folder.Path, recorded: null, run);
        run.Report("record", "signing", 0);
        var statement = RecordWriter.Write(folder.Path, facts, key, run);
        var published = folder.Publish();
        var known = new KnownSources(bench.Folders);
        known.Remember(source.Facts.TreeSha256, source.Path);
        foreach (var (sha256, path) in source.PartPaths)
            known.Remember(sha256, path);
        log.LogInformation("Run {Run} published with {Count} files", facts.RunId[..12], statement.Subjects.Count);
        return new(published, facts, [.. statement.Subjects.Select(s => s.Name), RecordFiles.Record, RecordFiles.PublicKey]);
    }
}
