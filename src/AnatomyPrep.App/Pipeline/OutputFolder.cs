using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.App.Pipeline;

/// <summary>A result folder that is written aside and renamed when complete, so that a part never looks like a whole.</summary>
internal sealed class OutputFolder : IDisposable
{
    private readonly string _final;
    private bool _published;

    private OutputFolder(string final, string aside)
    {
        _final = final;
        Path = aside;
    }

    /// <summary>Where to write until <see cref="Publish"/>.</summary>
    public string Path { get; }

    public string this[string name] => System.IO.Path.Combine(Path, name);

    /// <exception cref="PlanException">The folder exists and holds something: results are never overwritten.</exception>
    public static OutputFolder Create(string folder)
    {
        var final = System.IO.Path.TrimEndingDirectorySeparator(System.IO.Path.GetFullPath(folder));
        RefuseIfTaken(final);
        var parent = System.IO.Path.GetDirectoryName(final) ?? throw new PlanException("command", null, "--out", folder, "a folder below an existing one");
        Directory.CreateDirectory(parent);
        var aside = Directory.CreateTempSubdirectory().FullName;
        Directory.Delete(aside);
        aside = System.IO.Path.Combine(parent, $".{System.IO.Path.GetFileName(final)}.unfinished-{System.IO.Path.GetFileName(aside)}");
        Directory.CreateDirectory(aside);
        return new(final, aside);
    }

    /// <summary>Renames the folder to its final name.</summary>
    /// <returns>The final path.</returns>
    public string Publish()
    {
        RefuseIfTaken(_final);
        if (Directory.Exists(_final))
            Directory.Delete(_final);
        Directory.Move(Path, _final);
        _published = true;
        return _final;
    }

    public void Dispose()
    {
        if (!_published && Directory.Exists(Path))
            Directory.Delete(Path, recursive: true);
    }

    private static void RefuseIfTaken(string final)
    {
        if (File.Exists(final) || (Directory.Exists(final) && Directory.EnumerateFileSystemEntries(final).Any()))
            throw new PlanException("command", null, "--out", $"{System.IO.Path.GetFileName(final)} exists and is not empty", "a new or empty folder: results are never overwritten");
    }
}
