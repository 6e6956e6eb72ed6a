using System.Security.Cryptography;
using System.Text.Json;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Imaging.Acquire;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Service.Events;
using AnatomyPrep.Service.Hosting;
using AnatomyPrep.Service.Receiving;
using AnatomyPrep.Service.Storage;

namespace AnatomyPrep.Service.Intake;

/// <summary>Turns files that came in into sources: sorts them by series, waits until a series is quiet, files it once.</summary>
/// <remarks>
/// Every step is one rename or one transaction and may be done again, so a process that is killed between two of them goes on at the
/// next start. An image that is there already is dropped. Images of a series that was filed too early make a new source, with those
/// of the earlier one, which it replaces.
/// </remarks>
internal sealed class SeriesIntake(
    DataFolder folder, ServiceSettings settings, ArrivalReader reader, SiteKey siteKey, SourceStore sources, QuarantineStore quarantine, EventLog events, ArrivalBoard board, TimeProvider clock, UploadStore uploads)
{
    public const string ImagesFolder = "images";
    public const string ManifestFile = "source.json";

    /// <summary>Arrivals over the network, whose calling title must be known; others were brought by somebody with an account or a folder.</summary>
    public const string NetworkPrefix = "a-";

    private const int BatchFiles = 500;

    /// <summary>However long others keep associations open, a series waits no longer.</summary>
    private static readonly TimeSpan s_longestWait = TimeSpan.FromMinutes(30);

    private static readonly JsonSerializerOptions s_json = new() { WriteIndented = true, PropertyNamingPolicy = JsonNamingPolicy.CamelCase };

    private readonly HashSet<string> _failed = new(StringComparer.Ordinal);

    /// <summary>Takes up what an earlier process left: open associations ended with it.</summary>
    public void Recover()
    {
        foreach (var left in Directory.GetDirectories(folder.Receiving))
            Directory.Move(left, Path.Combine(folder.Arrived, Path.GetFileName(left)));
        foreach (var source in Directory.GetDirectories(folder.Sources).Where(s => !s.EndsWith(".part", StringComparison.Ordinal)))
            Attempt(Path.GetFileName(source), () => sources.Add(JsonSerializer.Deserialize<SourceManifest>(File.ReadAllText(Path.Combine(source, ManifestFile)), s_json) ?? throw new JsonException("empty")));
    }

    /// <summary>Sorts every arrival; each file ends in a series, in quarantine, or is refused.</summary>
    public void TakeArrived(RunContext run)
    {
        foreach (var arrival in Directory.GetDirectories(folder.Arrived).Order(StringComparer.Ordinal))
            Attempt(Path.GetFileName(arrival), () => Take(arrival, run));
    }

    /// <summary>Files every series that nothing was added to for long enough.</summary>
    public void FileQuiet(RunContext run)
    {
        foreach (var series in Directory.GetDirectories(folder.Series).Order(StringComparer.Ordinal))
            if (IsQuiet(series))
                Attempt(Path.GetFileName(series), () => FileSeries(series, run));
    }

    private void Take(string arrival, RunContext run)
    {
        var refused = new SortedDictionary<string, int>(StringComparer.Ordinal);
        var series = new HashSet<string>(StringComparer.Ordinal);
        string? title = null;
        try
        {
            foreach (var batch in Directory.GetFiles(arrival).Order(StringComparer.Ordinal).Chunk(BatchFiles))
                foreach (var file in reader.Read(batch, run))
                {
                    if (file.Refusal is { } refusal)
                        refused[refusal.Code] = refused.GetValueOrDefault(refusal.Code) + 1;
                    else if (IsUnknown(arrival, file))
                        title = SetAside(arrival, file);
                    else
                        Accept(arrival, file, series);
                }
        }
        catch (BadInputException)
        {
            // So many of its files kill the reader that the rest is not tried: all of it is set aside.
            SetAsideAll(arrival);
            uploads.Sorted(Path.GetFileName(arrival));
            return;
        }

        foreach (var (code, files) in refused)
            events.Append(new("arrival.refused", Path.GetFileName(arrival), Code: code, Detail: $"{files} files"));
        // Counted where they lie: a process that was killed here had moved some of them already.
        if (Directory.Exists(QuarantineOf(arrival)))
            quarantine.Add(Path.GetFileName(arrival), FindingCodes.CallingTitleUnknown, title, Directory.GetFiles(QuarantineOf(arrival)).Length);
        uploads.Sorted(Path.GetFileName(arrival));
        // What was refused goes with the folder, after its event is written.
        Directory.Delete(arrival, recursive: true);
    }

    /// <summary>Lets what was set aside in, as if somebody had brought it by hand; false when there is no such thing.</summary>
    public bool Admit(string id, string actor)
    {
        if (!quarantine.Decide(id, "admitted", actor))
            return false;
        Directory.Move(Path.Combine(folder.Quarantine, id), Path.Combine(folder.Arrived, $"q-{id}"));
        return true;
    }

    /// <summary>Deletes what was set aside; false when there is no such thing.</summary>
    public bool Discard(string id, string actor)
    {
        if (!quarantine.Decide(id, "discarded", actor))
            return false;
        Directory.Delete(Path.Combine(folder.Quarantine, id), recursive: true);
        return true;
    }

    /// <summary>One that cannot be dealt with must not hold up the others: it stays, is told of once, and is tried again.</summary>
    private void Attempt(string name, Action deal)
    {
        try
        {
            deal();
            _failed.Remove(name);
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException or JsonException or BadInputException or InvalidOperationException)
        {
            if (_failed.Add(name))
                events.Append(new("intake.failed", name, Detail: $"{e.GetType().Name}; it is tried again"));
        }
    }

    private bool IsUnknown(string arrival, ArrivedFile file) =>
        Path.GetFileName(arrival).StartsWith(NetworkPrefix, StringComparison.Ordinal)
        && !settings.Receiver.CallingTitles.Contains(file.SourceTitle, StringComparer.Ordinal);

    private string QuarantineOf(string arrival) => Path.Combine(folder.Quarantine, Path.GetFileName(arrival));

    private string? SetAside(string arrival, ArrivedFile file)
    {
        var aside = DataFolder.CreateOwned(QuarantineOf(arrival));
        File.Move(file.Path, Path.Combine(aside, Path.GetFileName(file.Path)), overwrite: true);
        return file.SourceTitle;
    }

    private void SetAsideAll(string arrival)
    {
        var aside = DataFolder.CreateOwned(QuarantineOf(arrival));
        var files = Directory.GetFiles(arrival);
        foreach (var file in files)
            File.Move(file, Path.Combine(aside, Path.GetFileName(file)), overwrite: true);
        quarantine.Add(Path.GetFileName(arrival), FindingCodes.FileCrashedReader, null, files.Length);
        Directory.Delete(arrival, recursive: true);
    }

    /// <param name="series">What this arrival was already noted to hold.</param>
    private void Accept(string arrival, ArrivedFile file, HashSet<string> series)
    {
        var seriesKey = siteKey.Pseudonym(IdentifierKind.Series, file.SeriesUid)!;
        // Before the file moves: after a crash nobody could say any more that it was in this arrival.
        if (series.Add(seriesKey))
            uploads.Holds(Path.GetFileName(arrival), seriesKey);
        var key = siteKey.Pseudonym(IdentifierKind.Instance, file.InstanceUid)!;
        var images = Path.Combine(folder.Series, seriesKey, ImagesFolder);
        var target = Path.Combine(images, $"{key}.dcm");
        if (File.Exists(target) || sources.Holds(seriesKey, key))
        {
            File.Delete(file.Path);
            return;
        }

        DataFolder.CreateOwned(Path.Combine(folder.Series, seriesKey));
        DataFolder.CreateOwned(images);
        File.Move(file.Path, target);
    }

    private bool IsQuiet(string series)
    {
        var images = Path.Combine(series, ImagesFolder);
        if (!Directory.Exists(images))
            return false;
        var now = clock.GetUtcNow().UtcDateTime;
        var changed = Directory.GetLastWriteTimeUtc(images);
        // A clock that was set back must not make it wait for that long.
        if (changed > now)
            Directory.SetLastWriteTimeUtc(images, now);
        var age = now - changed;
        return age.TotalSeconds >= settings.Intake.QuietSeconds && (board.Open == 0 || age > s_longestWait);
    }

    private void FileSeries(string series, RunContext run)
    {
        var seriesKey = Path.GetFileName(series);
        var images = Path.Combine(series, ImagesFolder);
        var earlier = sources.Newest(seriesKey);
        if (earlier is not null)
            foreach (var file in Directory.GetFiles(Path.Combine(folder.Sources, earlier.Id, ImagesFolder)))
                File.Copy(file, Path.Combine(images, Path.GetFileName(file)), overwrite: true);
        var files = Directory.GetFiles(images).Order(StringComparer.Ordinal).ToArray();
        var headers = files.Chunk(BatchFiles).SelectMany(batch => reader.Read(batch, run)).ToArray();
        var facts = headers.Select(h => h.Facts).OfType<ImageFacts>().ToArray();
        var manifest = new SourceManifest(
            SourceId.Of(seriesKey, files.Select(f => Path.GetFileNameWithoutExtension(f))),
            seriesKey,
            siteKey.Pseudonym(IdentifierKind.Study, headers[0].StudyUid),
            reader.Patient(files[0], id => siteKey.Pseudonym(IdentifierKind.Patient, id?.Trim()), run),
            clock.GetUtcNow(),
            earlier?.Id,
            [.. files.Select(Describe)],
            Agreed(facts, f => f.BodyPart),
            Agreed(facts, f => f.Laterality),
            facts.Sum(f => f.Samples));
        WriteManifest(Path.Combine(series, ManifestFile), manifest);
        var target = Path.Combine(folder.Sources, manifest.Id);
        if (Directory.Exists(target) && sources.Find(manifest.Id) is { ExpiredAt: not null })
        {
            Restore(series, target);
            sources.Return(manifest.Id);
            return;
        }

        if (Directory.Exists(target))
            Directory.Delete(series, recursive: true);
        else
            DataFolder.Move(series, target);
        sources.Add(manifest);
    }

    /// <summary>The images of an expired source came again: they are put back beside its manifest.</summary>
    private static void Restore(string series, string target)
    {
        var place = Path.Combine(target, ImagesFolder);
        if (Directory.Exists(place))
            Directory.Delete(place, recursive: true);
        DataFolder.Move(Path.Combine(series, ImagesFolder), place);
        Directory.Delete(series, recursive: true);
    }

    /// <summary>What all images say; null where one says something else, or nothing.</summary>
    private static string? Agreed(ImageFacts[] facts, Func<ImageFacts, string?> said) =>
        facts.Length > 0 && facts.All(f => said(f) == said(facts[0])) ? said(facts[0]) : null;

    private static void WriteManifest(string path, SourceManifest manifest)
    {
        using var file = File.Create(path);
        JsonSerializer.Serialize(file, manifest, s_json);
        file.Flush(flushToDisk: true);
    }

    /// <summary>Hashes a file and sees to it that it is on the disk before anybody is told that it is a source.</summary>
    private static SourceFileEntry Describe(string path)
    {
        using var file = new FileStream(path, FileMode.Open, FileAccess.ReadWrite);
        var sha256 = Convert.ToHexStringLower(SHA256.HashData(file));
        file.Flush(flushToDisk: true);
        return new(Path.GetFileNameWithoutExtension(path), sha256, file.Length);
    }
}
