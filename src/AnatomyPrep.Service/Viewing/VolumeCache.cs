using System.Collections.Concurrent;
using AnatomyPrep.Service.Hosting;
using AnatomyPrep.Service.Intake;
using Microsoft.Extensions.Logging;

namespace AnatomyPrep.Service.Viewing;

/// <summary>Sources unpacked for viewing. A child unpacks them: images are untrusted, and the service knows no format.</summary>
/// <remarks>
/// Below `viewing/volumes`, one folder for each source, named by it; all of it may be lost. What was not looked at for longest goes
/// first when more than <see cref="MostBytes"/> lie there. One child at a time. A volume that is deleted while somebody looks at it stays
/// readable until it is closed: the kernel keeps the file.
/// </remarks>
internal sealed class VolumeCache(ProgramChild program, DataFolder folder, TimeProvider clock, ILogger<VolumeCache> log) : IDisposable
{
    private const long MostBytes = 24L << 30;
    private const int MostOpen = 8;

    private static readonly TimeSpan s_longest = TimeSpan.FromMinutes(10);

    private readonly ConcurrentDictionary<string, Task<string?>> _unpacking = [];
    private readonly Dictionary<string, (UnpackedVolume Volume, long Used)> _open = [];
    private readonly Lock _lock = new();
    private readonly SemaphoreSlim _one = new(1);
    private long _uses;

    private string Volumes => Path.Combine(folder.Root, "viewing", "volumes");

    /// <summary>The volume of a source, or why it is not there: null while it is being unpacked.</summary>
    /// <param name="sourceId">Of a source that exists.</param>
    public (UnpackedVolume? Volume, string? Reason) Open(string sourceId)
    {
        var place = Path.Combine(Volumes, sourceId);
        lock (_lock)
        {
            if (_open.TryGetValue(sourceId, out var open))
            {
                _open[sourceId] = (open.Volume, ++_uses);
                return (open.Volume, null);
            }

            if (Directory.Exists(place))
                return (Keep(sourceId, new UnpackedVolume(place)), null);
        }

        var unpacking = _unpacking.GetOrAdd(sourceId, id => Task.Run(() => UnpackAsync(id, place)));
        if (!unpacking.IsCompleted)
            return (null, null);
        // Asked again, it is tried again.
        _unpacking.TryRemove(sourceId, out _);
        return unpacking.Result is { } reason ? (null, reason) : Directory.Exists(place) ? Open(sourceId) : (null, null);
    }

    /// <summary>Removes what is unpacked of a source.</summary>
    public void Forget(string sourceId)
    {
        lock (_lock)
            _open.Remove(sourceId);
        if (Path.Combine(Volumes, sourceId) is var place && Directory.Exists(place))
            Directory.Delete(place, recursive: true);
    }

    public void Dispose()
    {
        foreach (var (volume, _) in _open.Values)
            volume.Dispose();
        _one.Dispose();
    }

    private UnpackedVolume Keep(string sourceId, UnpackedVolume volume)
    {
        // The one that is closed may still be read by a request: it is left to the collector, which closes it when nobody holds it.
        if (_open.Count >= MostOpen)
            _open.Remove(_open.MinBy(o => o.Value.Used).Key);
        Directory.SetLastAccessTimeUtc(Path.Combine(Volumes, sourceId), clock.GetUtcNow().UtcDateTime);
        _open[sourceId] = (volume, ++_uses);
        return volume;
    }

    private async Task<string?> UnpackAsync(string sourceId, string place)
    {
        await _one.WaitAsync().ConfigureAwait(false);
        try
        {
            DataFolder.CreateOwned(Path.GetDirectoryName(Volumes)!);
            DataFolder.CreateOwned(Volumes);
            MakeRoom();
            var (code, reason) = program.WorkToEnd(s_longest, "unpack", Path.Combine(folder.Sources, sourceId, SeriesIntake.ImagesFolder), $"--out={place}");
            log.LogInformation("Source {Source} unpacked for viewing, exit code {Code}", sourceId, code);
            return reason;
        }
        catch (Exception e) when (e is InvalidOperationException or IOException or UnauthorizedAccessException)
        {
            return $"it could not be unpacked: {e.GetType().Name}";
        }
        finally
        {
            _one.Release();
        }
    }

    private void MakeRoom()
    {
        var there = new DirectoryInfo(Volumes).GetDirectories().Select(d => (Folder: d, Bytes: d.EnumerateFiles().Sum(f => f.Length))).OrderBy(d => d.Folder.LastAccessTimeUtc).ToArray();
        var total = there.Sum(d => d.Bytes);
        foreach (var (old, bytes) in there.TakeWhile(_ => total > MostBytes))
        {
            lock (_lock)
                _open.Remove(old.Name);
            old.Delete(recursive: true);
            total -= bytes;
        }
    }
}
