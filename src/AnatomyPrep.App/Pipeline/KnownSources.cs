using System.Text.Json;

namespace AnatomyPrep.App.Pipeline;

/// <summary>
/// Where sources lie on this machine, by their hash, so that a replay finds them. Paths often hold a patient's name, so this
/// list stays in the user's own folder and is never part of a record.
/// </summary>
internal sealed class KnownSources(AppFolders folders)
{
    private const int Most = 10_000;

    public string? Find(string treeSha256) => Read().GetValueOrDefault(treeSha256);

    public void Remember(string treeSha256, string path)
    {
        var known = Read();
        known[treeSha256] = Path.GetFullPath(path);
        while (known.Count > Most)
            known.Remove(known.Keys.First());
        Directory.CreateDirectory(folders.Home);
        var aside = $"{folders.KnownSources}.{Environment.ProcessId}";
        File.WriteAllText(aside, JsonSerializer.Serialize(known));
        if (!OperatingSystem.IsWindows())
            File.SetUnixFileMode(aside, UnixFileMode.UserRead | UnixFileMode.UserWrite);
        File.Move(aside, folders.KnownSources, overwrite: true);
    }

    private SortedDictionary<string, string> Read()
    {
        try
        {
            return File.Exists(folders.KnownSources)
                ? JsonSerializer.Deserialize<SortedDictionary<string, string>>(File.ReadAllText(folders.KnownSources)) ?? new(StringComparer.Ordinal)
                : new(StringComparer.Ordinal);
        }
        catch (JsonException)
        {
            // Only a convenience: without it a replay asks for --source.
            return new(StringComparer.Ordinal);
        }
    }
}
