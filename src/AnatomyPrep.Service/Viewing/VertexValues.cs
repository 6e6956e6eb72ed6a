using System.Collections.Concurrent;
using System.Globalization;
using AnatomyPrep.Service.Hosting;
using AnatomyPrep.Service.Intake;
using AnatomyPrep.Service.Jobs;
using Microsoft.Extensions.Logging;

namespace AnatomyPrep.Service.Viewing;

/// <summary>Numbers measured at every vertex of a finished model, to colour it by. A child measures them, when first asked for; then they are kept.</summary>
/// <remarks>Below `viewing/values`; all of it may be lost. One child at a time.</remarks>
internal sealed class VertexValues(ProgramChild program, DataFolder folder, ILogger<VertexValues> log) : IDisposable
{
    /// <summary>What can be asked for, and what it needs: the images, another model.</summary>
    public static readonly IReadOnlyDictionary<string, (bool Images, bool Other)> Kinds = new Dictionary<string, (bool, bool)>(StringComparer.Ordinal)
    {
        ["wall"] = (false, false),
        ["gap"] = (false, false),
        ["sensitivity"] = (true, false),
        ["deviation"] = (true, false),
        ["other"] = (false, true),
        ["holes"] = (false, false),
    };

    private static readonly TimeSpan s_longest = TimeSpan.FromMinutes(20);

    private readonly ConcurrentDictionary<string, Task<string?>> _measuring = [];
    private readonly SemaphoreSlim _one = new(1);

    private string Values => Path.Combine(folder.Root, "viewing", "values");

    /// <summary>The file, or why it is not there: null while it is being measured.</summary>
    /// <param name="job">A finished one.</param>
    /// <param name="other">For "other": a finished one too.</param>
    public (string? File, string? Reason) Open(JobEntry job, string what, JobEntry? other)
    {
        var name = string.Create(CultureInfo.InvariantCulture, $"{job.Id}-{job.Published}-{what}{(other is null ? "" : $"-{other.Id}-{other.Published}")}");
        var place = Path.Combine(Values, name);
        if (File.Exists(place))
            return (place, null);
        var measuring = _measuring.GetOrAdd(name, _ => Task.Run(() => MeasureAsync(job, what, other, place)));
        if (!measuring.IsCompleted)
            return (null, null);
        // Asked again, it is tried again.
        _measuring.TryRemove(name, out _);
        return measuring.Result is { } reason ? (null, reason) : File.Exists(place) ? (place, null) : (null, null);
    }

    public void Dispose() => _one.Dispose();

    private async Task<string?> MeasureAsync(JobEntry job, string what, JobEntry? other, string place)
    {
        await _one.WaitAsync().ConfigureAwait(false);
        try
        {
            DataFolder.CreateOwned(Path.GetDirectoryName(Values)!);
            DataFolder.CreateOwned(Values);
            string[] images = Kinds[what].Images ? [$"--source={Path.Combine(folder.Sources, job.Request.SourceId!, SeriesIntake.ImagesFolder)}"] : [];
            string[] beside = other is null ? [] : [$"--other={Artifacts.FolderOf(other, folder)}"];
            var (code, reason) = program.WorkToEnd(s_longest, ["probe", Artifacts.FolderOf(job, folder), $"--of={what}", $"--out={place}", .. images, .. beside]);
            log.LogInformation("Job {Job}: {What} measured for viewing, exit code {Code}", job.Id, what, code);
            return reason;
        }
        catch (Exception e) when (e is InvalidOperationException or IOException or UnauthorizedAccessException)
        {
            return $"it could not be measured: {e.GetType().Name}";
        }
        finally
        {
            _one.Release();
        }
    }
}
