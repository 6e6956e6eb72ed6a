using System.CommandLine;
using System.Globalization;
using System.Text.Json;
using AnatomyPrep.App.Pipeline;
using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.App.Cli.Remote;

/// <summary>What a service is asked to make.</summary>
/// <param name="Source">Folder or file, sent there; or the id of a source that is there.</param>
internal sealed record RemoteOrder(
    string Source, string Plan, string Out, string Purpose = "education", string? Anatomy = null, string? Side = null, double Scale = 1, string? Profile = null, string? Requester = null, string? PatientId = null);

/// <summary>What came back.</summary>
/// <param name="ExitCode">As prepare has it here.</param>
/// <param name="Folder">Where the files are; null when there are none.</param>
internal sealed record RemoteModel(int ExitCode, string? Folder = null, string? Job = null, string? Source = null, IReadOnlyList<string>? Files = null);

/// <summary>prepare on a service: the images are sent, a job is made and followed, its files are fetched and appear together.</summary>
internal sealed class RemotePrepare(CommandContext context, ServiceLink link)
{
    private static readonly TimeSpan s_pause = TimeSpan.FromMilliseconds(300);

    public async Task<int> RunAsync(ParseResult parsed, CancellationToken cancellation)
    {
        var made = await MakeAsync(
            new(
                parsed.GetValue<string>("SOURCE")!, parsed.GetValue<string>("--plan")!, parsed.GetValue<string>("--out")!, parsed.GetValue<string>("--purpose")!, parsed.GetValue<string?>("--anatomy"),
                parsed.GetValue<string?>("--side"), parsed.GetValue<double>("--scale"), parsed.GetValue<string?>("--profile"), parsed.GetValue<string?>("--requester"), parsed.GetValue<string?>("--patient-id")),
            cancellation).ConfigureAwait(false);
        if (made is not { Folder: { } place, Files: { } files })
            return made.ExitCode;
        if (parsed.GetValue<bool>("--json"))
            Output.WriteJson(new { folder = place, job = made.Job, source = made.Source, holds = made.ExitCode == ExitCodes.Done, files });
        else
            foreach (var file in files)
                Output.WriteResult(Path.Combine(place, file));
        context.Output.Say(SafetyNotice.Text);
        return made.ExitCode;
    }

    /// <summary>Has a model made there; a job that failed is told of, and has no folder.</summary>
    public async Task<RemoteModel> MakeAsync(RemoteOrder order, CancellationToken cancellation)
    {
        using var folder = OutputFolder.Create(order.Out);
        var source = await SourceAsync(order.Source, cancellation).ConfigureAwait(false);
        var asked = await link.PostAsync("jobs/", new
        {
            purpose = order.Purpose,
            anatomy = order.Anatomy ?? order.Plan,
            plan = order.Plan,
            side = order.Side,
            scale = order.Scale,
            profile = order.Profile,
            requesterCode = order.Requester,
            patientId = order.PatientId,
            sourceId = source,
        }, cancellation).ConfigureAwait(false);
        var id = asked.GetProperty("id").GetString()!;
        context.Output.Say($"job {id}");
        var job = await FollowAsync(id, cancellation).ConfigureAwait(false);
        if (job.GetProperty("state").GetString() != "done")
        {
            context.Output.Say($"{Text(job, "reason") ?? "It was cancelled."} {Text(job, "remedy")}".TrimEnd());
            return new(job.GetProperty("exitCode") is { ValueKind: JsonValueKind.Number } code ? code.GetInt32() : job.GetProperty("state").GetString() == "cancelled" ? ExitCodes.Cancelled : ExitCodes.InternalError);
        }

        await FetchAsync(job, folder, cancellation).ConfigureAwait(false);
        return new(
            job.GetProperty("holds").GetBoolean() ? ExitCodes.Done : ExitCodes.CheckFailed, folder.Publish(), id, source,
            [.. job.GetProperty("artifacts").EnumerateArray().Select(a => a.GetProperty("name").GetString()!)]);
    }

    /// <summary>A source of the service by its id, or the files of a folder, sent there.</summary>
    private async Task<string> SourceAsync(string given, CancellationToken cancellation)
    {
        if (given.Length == 64 && given.All(char.IsAsciiHexDigitLower) && !Path.Exists(given))
            return given;
        var files = RemoteCommands.FilesOf(given);
        var upload = new RemoteUpload(link, RemoteCommands.NotesOf(context));
        var id = await upload.SendAsync(files, new Told(context), cancellation).ConfigureAwait(false);
        await upload.CompleteAsync(id, files, cancellation).ConfigureAwait(false);
        context.Output.Say($"{files.Count} files sent; the service waits until nothing more comes");
        while (true)
        {
            var outcome = await link.GetAsync($"uploads/{id}/outcome", cancellation).ConfigureAwait(false);
            var series = outcome.GetProperty("series").GetArrayLength();
            if (outcome.GetProperty("sorted").GetBoolean() && series == 0)
                throw new BadInputException("source", "images", $"none was taken ({string.Join("; ", Texts(outcome, "refused"))})", "Send CT images; inspect says more of each file.");
            if (series > 1)
                throw new BadInputException("source", "series", $"{series} series were sent", "Send one, or name one of the sources that are there now by its id.");
            if (Texts(outcome, "sources") is [var source])
                return source;
            await Task.Delay(s_pause, cancellation).ConfigureAwait(false);
        }
    }

    /// <summary>Waits for the end of a job by the stream of changes, and looks itself now and then.</summary>
    private async Task<JsonElement> FollowAsync(string id, CancellationToken cancellation)
    {
        using var changes = new RemoteChanges(link);
        var stage = "";
        while (true)
        {
            var job = await link.GetAsync($"jobs/{id}", cancellation).ConfigureAwait(false);
            if (job.GetProperty("state").GetString() is "done" or "failed" or "cancelled")
                return job;
            if (job.GetProperty("progress") is { ValueKind: JsonValueKind.Object } progress && progress.GetProperty("stage").GetString() is { } now && now != stage)
                context.Output.Say(string.Create(CultureInfo.InvariantCulture, $"{100 * progress.GetProperty("share").GetDouble(),3:F0} % {stage = now}"));
            await changes.NextAsync(id, TimeSpan.FromSeconds(1), cancellation).ConfigureAwait(false);
        }
    }

    private async Task FetchAsync(JsonElement job, OutputFolder folder, CancellationToken cancellation)
    {
        foreach (var artifact in job.GetProperty("artifacts").EnumerateArray())
        {
            var name = artifact.GetProperty("name").GetString()!;
            var target = Path.GetFullPath(folder[name]);
            if (!target.StartsWith(folder.Path + Path.DirectorySeparatorChar, StringComparison.Ordinal))
                throw new BadInputException("service", "artifact", "a name that leads out of the folder", "Do not trust this service.");
            Directory.CreateDirectory(Path.GetDirectoryName(target)!);
            using var request = new HttpRequestMessage(HttpMethod.Get, $"jobs/{job.GetProperty("id").GetString()}/files/{string.Join('/', name.Split('/').Select(Uri.EscapeDataString))}");
            using var answer = await link.SendAsync(request, cancellation, wholeAnswer: false).ConfigureAwait(false);
            using var file = File.Create(target);
            await answer.Content.CopyToAsync(file, cancellation).ConfigureAwait(false);
            if (file.Length != artifact.GetProperty("bytes").GetInt64())
                throw new BadInputException("service", name, $"{file.Length} bytes came", "Try again: the job is done, and prepare with the id of the source finds it again.");
        }
    }

    private static string? Text(JsonElement of, string name) => of.GetProperty(name).GetString();

    private static string[] Texts(JsonElement of, string name) => [.. of.GetProperty(name).EnumerateArray().Select(t => t.GetString()!)];

    private sealed class Told(CommandContext context) : IProgress<(int Files, int Of)>
    {
        public void Report((int Files, int Of) value)
        {
            if (value.Files % 50 == 0)
                context.Output.Say(string.Create(CultureInfo.InvariantCulture, $"{value.Files} of {value.Of} files sent"));
        }
    }
}
