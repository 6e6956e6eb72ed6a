using System.CommandLine;
using AnatomyPrep.App.Cli.Ledgers;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Records.Ledgers.Bundles;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.App.Cli;

/// <summary>verify DIR|RECORD|BUNDLE: check signatures, hashes and fields, offline, and name what differs.</summary>
internal static class VerifyCommand
{
    public static Command Create(CommandContext context)
    {
        var target = new Argument<string>("DIR|RECORD|BUNDLE") { Description = "Folder of a run, its record.json, or a bundle from a ledger" };
        var key = new Option<string?>("--key") { Description = "Public key (PEM) of the signer you trust" };
        var source = new Option<string?>("--source") { Description = "Folder of the source files, to compare them too" };
        var json = new Option<bool>("--json") { Description = "One JSON document on stdout" };
        var command = new Command("verify", "Check a record and everything it vouches for") { target, key, source, json };
        command.SetAction((parsed, cancellation) =>
        {
            var trusted = parsed.GetValue(key) is { } pem ? VerificationKey.FromPem(File.ReadAllText(pem), Path.GetFileName(pem)) : null;
            using (trusted)
            {
                var path = parsed.GetValue(target)!;
                if (File.Exists(path) && BundleVerifier.LooksLikeBundle(path))
                    return Task.FromResult(LedgerKeeping.Show(parsed.GetValue(json), context.Output, BundleVerifier.Verify(File.ReadAllBytes(path), trusted)));
                var report = context.Run(run => RecordVerifier.Verify(path, trusted, parsed.GetValue(source), run), cancellation);
                if (parsed.GetValue(json))
                    Output.WriteJson(new { report.Holds, report.Trust, report.SignerKeyId, report.Checks, report.Notes });
                else
                    Show(context, report);
                return Task.FromResult(report.Holds ? ExitCodes.Done : ExitCodes.CheckFailed);
            }
        });
        return command;
    }

    public static void Show(CommandContext context, VerificationReport report)
    {
        foreach (var failed in report.Failed)
            Output.WriteResult($"DIFFERS  {failed.Thing}: {failed.Check}: expected {failed.Expected}, found {failed.Found}");
        foreach (var note in report.Notes)
            context.Output.Say(note);
        Output.WriteResult(report.Holds
            ? $"holds: {report.Checks.Count} checks, signed by key {report.SignerKeyId}"
            : $"does NOT hold: {report.Failed.Count()} of {report.Checks.Count} checks failed");
    }
}
