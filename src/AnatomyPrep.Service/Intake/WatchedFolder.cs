using System.Globalization;
using System.Security.Cryptography;
using System.Text;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Service.Events;
using AnatomyPrep.Service.Hosting;
using AnatomyPrep.Service.Storage;

namespace AnatomyPrep.Service.Intake;

/// <summary>Takes what is put into a folder: each file or folder directly below it is a delivery, copied once it has settled.</summary>
/// <remarks>
/// A delivery has settled when names, sizes and times of all its files have stayed the same for a while, and it counts only if they
/// are still the same after the copy. The folder itself is never changed. Names often hold a patient's, so of a delivery that was taken
/// only keyed marks are kept.
/// </remarks>
internal sealed class WatchedFolder(DataFolder folder, ServiceSettings settings, SiteKey siteKey, Database database, EventLog events, TimeProvider clock)
{
    internal const string Schema = """
        CREATE TABLE IF NOT EXISTS delivery (
            name_key TEXT PRIMARY KEY,
            state TEXT NOT NULL);
        """;

    private const int MostFiles = 100_000;

    private readonly Dictionary<string, (string State, long Since)> _seen = new(StringComparer.Ordinal);
    private bool _failed;

    /// <summary>Looks once; takes every delivery that has settled.</summary>
    public void Look(CancellationToken stopping)
    {
        if (settings.Intake.WatchedFolder is not { } root)
            return;
        try
        {
            foreach (var entry in Directory.EnumerateFileSystemEntries(root).Order(StringComparer.Ordinal))
            {
                stopping.ThrowIfCancellationRequested();
                LookAt(entry);
            }

            _failed = false;
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException)
        {
            if (!_failed)
                events.Append(new("watched-folder.failed", null, Detail: $"{e.GetType().Name}; it is tried again"));
            _failed = true;
        }
    }

    private void LookAt(string entry)
    {
        var files = FilesOf(entry);
        var state = StateOf(entry, files);
        var key = siteKey.Pseudonym(IdentifierKind.Delivery, Path.GetFileName(entry))!;
        if (files.Count == 0 || database.ReadOne("SELECT state FROM delivery WHERE name_key = @key", r => r.GetString(0), ("@key", key)) == state)
            return;
        if (!_seen.TryGetValue(entry, out var seen) || seen.State != state)
            _seen[entry] = (state, clock.GetTimestamp());
        else if (clock.GetElapsedTime(seen.Since).TotalSeconds >= settings.Intake.SettleSeconds)
            Take(entry, files, key, state);
    }

    private void Take(string entry, List<FileInfo> files, string key, string state)
    {
        var name = $"w-{Guid.NewGuid():N}";
        var copy = DataFolder.CreateOwned(Path.Combine(folder.Receiving, name));
        for (var k = 0; k < files.Count; k++)
            files[k].CopyTo(Path.Combine(copy, string.Create(CultureInfo.InvariantCulture, $"{k:D6}.dcm")));
        if (StateOf(entry, FilesOf(entry)) != state)
        {
            // Somebody still writes to it.
            Directory.Delete(copy, recursive: true);
            return;
        }

        Directory.Move(copy, Path.Combine(folder.Arrived, name));
        _seen.Remove(entry);
        database.Write(change =>
        {
            change.Execute("INSERT INTO delivery (name_key, state) VALUES (@key, @state) ON CONFLICT (name_key) DO UPDATE SET state = @state", ("@key", key), ("@state", state));
            events.Append(change, new("delivery.taken", name, Detail: $"{files.Count} files from the watched folder"));
        });
    }

    /// <summary>Plain files only: a link may lead anywhere, and a pipe never ends.</summary>
    private static List<FileInfo> FilesOf(string entry)
    {
        var options = new EnumerationOptions { RecurseSubdirectories = true, AttributesToSkip = FileAttributes.ReparsePoint | FileAttributes.Device, IgnoreInaccessible = false };
        var given = new FileInfo(entry);
        if (given.Exists)
            return (given.Attributes & (FileAttributes.ReparsePoint | FileAttributes.Device)) == 0 ? [given] : [];
        var asFolder = new DirectoryInfo(entry);
        return asFolder.Exists && (asFolder.Attributes & FileAttributes.ReparsePoint) == 0
            ? [.. asFolder.EnumerateFiles("*", options).Take(MostFiles).OrderBy(f => f.FullName, StringComparer.Ordinal)]
            : [];
    }

    private string StateOf(string entry, IEnumerable<FileInfo> files)
    {
        var text = new StringBuilder();
        foreach (var file in files)
            text.Append(CultureInfo.InvariantCulture, $"{siteKey.Pseudonym(IdentifierKind.Delivery, Path.GetRelativePath(entry, file.FullName))} {file.Length} {file.LastWriteTimeUtc.Ticks}\n");
        return Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes(text.ToString())));
    }
}
