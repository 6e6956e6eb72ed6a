using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.Service.Hosting;

/// <summary>The one folder that holds everything of a service: only its owner may enter it, and only one service uses it at a time.</summary>
/// <remarks>
/// Files move through it by renaming, so that each is at one place at any moment: receiving (an association still runs) → arrived →
/// series (still growing) → sources (final). Names are pseudonyms and numbers, never identifiers.
/// </remarks>
public sealed class DataFolder : IDisposable
{
    private readonly FileStream _lock;

    /// <exception cref="BadInputException">Another service uses the folder.</exception>
    public DataFolder(string root)
    {
        Root = Path.GetFullPath(root);
        foreach (var folder in new[] { Root, Receiving, Arrived, Series, Sources, Quarantine, Jobs, Uploads })
            CreateOwned(folder);
        _lock = Lock();
    }

    public string Root { get; }

    public string Settings => Path.Combine(Root, "settings.json");

    public string Database => Path.Combine(Root, "service.db");

    public string Keys => Path.Combine(Root, "keys");

    /// <summary>One folder for each association that is open.</summary>
    public string Receiving => Path.Combine(Root, "receiving");

    /// <summary>One folder for each association that has ended and whose files nobody has looked at yet.</summary>
    public string Arrived => Path.Combine(Root, "arrived");

    /// <summary>One folder for each series that may still grow.</summary>
    public string Series => Path.Combine(Root, "series");

    /// <summary>One folder for each source, named by its hash; never changed.</summary>
    public string Sources => Path.Combine(Root, "sources");

    public string Quarantine => Path.Combine(Root, "quarantine");

    public string Uploads => Path.Combine(Root, "uploads");

    public string Jobs => Path.Combine(Root, "jobs");

    /// <summary>One folder for each attempt of a job is in it.</summary>
    public string Job(string id) => Path.Combine(Jobs, id);

    /// <summary>What the engine of the jobs keeps; it may be lost.</summary>
    public string Engine => Path.Combine(Root, "engine.db");

    public void Dispose() => _lock.Dispose();

    /// <summary>A folder that only its owner may enter.</summary>
    public static string CreateOwned(string folder)
    {
        if (OperatingSystem.IsWindows())
            Directory.CreateDirectory(folder);
        else
            Directory.CreateDirectory(folder, UnixFileMode.UserRead | UnixFileMode.UserWrite | UnixFileMode.UserExecute);
        return folder;
    }

    private FileStream Lock()
    {
        try
        {
            return new FileStream(Path.Combine(Root, "lock"), FileMode.OpenOrCreate, FileAccess.ReadWrite, FileShare.None);
        }
        catch (IOException)
        {
            throw new BadInputException("data folder", "lock", "another service uses this folder", "Stop that service, or give another folder with --data.");
        }
    }
}
