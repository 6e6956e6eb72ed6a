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
        Objects = Root;
        foreach (var folder in new[] { Root, Receiving, Arrived, Series, Quarantine, Uploads })
            CreateOwned(folder);
        _lock = Lock();
        Node = ReadNode();
    }

    /// <summary>Where sources, results and keys are: the root, or a folder that all nodes share.</summary>
    public string Objects { get; private set; }

    /// <summary>Name of this node: made once, and the same at each start.</summary>
    public string Node { get; }

    /// <summary>Puts sources, results and keys into a folder that other nodes use too, or into the root.</summary>
    public void Place(string? shared)
    {
        Objects = shared ?? Root;
        CreateOwned(Sources);
        CreateOwned(Jobs);
    }

    /// <summary>Moves a folder, across file systems too; it appears whole or not at all.</summary>
    public static void Move(string folder, string target)
    {
        try
        {
            Directory.Move(folder, target);
        }
        catch (IOException) when (!Directory.Exists(target) && Directory.Exists(folder))
        {
            var part = $"{target}.part";
            if (Directory.Exists(part))
                Directory.Delete(part, recursive: true);
            foreach (var file in Directory.EnumerateFiles(folder, "*", SearchOption.AllDirectories))
            {
                var copy = Path.Combine(part, Path.GetRelativePath(folder, file));
                CreateOwned(Path.GetDirectoryName(copy)!);
                File.Copy(file, copy);
            }

            Directory.Move(part, target);
            Directory.Delete(folder, recursive: true);
        }
    }

    public string Root { get; }

    public string Settings => Path.Combine(Root, "settings.json");

    public string Database => Path.Combine(Root, "service.db");

    public string Keys => Path.Combine(Objects, "keys");

    /// <summary>One folder for each association that is open.</summary>
    public string Receiving => Path.Combine(Root, "receiving");

    /// <summary>One folder for each association that has ended and whose files nobody has looked at yet.</summary>
    public string Arrived => Path.Combine(Root, "arrived");

    /// <summary>One folder for each series that may still grow.</summary>
    public string Series => Path.Combine(Root, "series");

    /// <summary>One folder for each source, named by its hash; never changed.</summary>
    public string Sources => Path.Combine(Objects, "sources");

    public string Quarantine => Path.Combine(Root, "quarantine");

    public string Uploads => Path.Combine(Root, "uploads");

    public string Jobs => Path.Combine(Objects, "jobs");

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

    private string ReadNode()
    {
        var file = Path.Combine(Root, "node");
        if (!File.Exists(file))
            File.WriteAllText(file, Guid.NewGuid().ToString("N")[..12]);
        return File.ReadAllText(file).Trim();
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
