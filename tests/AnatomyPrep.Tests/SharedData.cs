using System.Collections.Concurrent;
using System.IO.Compression;

namespace AnatomyPrep.Tests;

/// <summary>
/// The folder of real data and reference programs that lies beside a developer's checkout. A test that uses it carries
/// [Trait("Needs", "Shared")]; ./anatomyprep test leaves those out, and says so, where the folder is absent.
/// </summary>
internal static class SharedData
{
    private static readonly Lazy<string> s_root = new(Find);
    private static readonly ConcurrentDictionary<string, Lazy<string>> s_unpacked = new();

    public static string Root => s_root.Value;

    public static string File(string relative)
    {
        var path = Path.Combine(Root, relative);
        return System.IO.File.Exists(path)
            ? path
            : throw new FileNotFoundException($"This test needs shared/{relative}, which is not there.");
    }

    /// <summary>Unpacks shared/data/ct/NAME.zip once per test run and gives the folder.</summary>
    public static string Series(string name) => s_unpacked.GetOrAdd(name, n => new Lazy<string>(() =>
    {
        var folder = Path.Combine(TestFolder.Base, "series", n);
        ZipFile.ExtractToDirectory(File($"data/ct/{n}.zip"), folder);
        return folder;
    })).Value;

    private static string Find()
    {
        var given = Environment.GetEnvironmentVariable("ANATOMYPREP_SHARED");
        if (!string.IsNullOrEmpty(given))
            return given;
        for (var at = new DirectoryInfo(AppContext.BaseDirectory); at is not null; at = at.Parent)
        {
            var candidate = Path.Combine(at.FullName, "shared");
            if (System.IO.File.Exists(Path.Combine(candidate, "data", "PROVENANCE.md")))
                return candidate;
        }

        throw new DirectoryNotFoundException(
            "This test needs the shared data folder (shared/ beside the checkout). Set ANATOMYPREP_SHARED to it.");
    }
}
