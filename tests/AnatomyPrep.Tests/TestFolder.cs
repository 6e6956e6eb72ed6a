namespace AnatomyPrep.Tests;

/// <summary>A folder of its own for one test, removed with it.</summary>
internal sealed class TestFolder : IDisposable
{
    private static int s_count;

    public static string Base { get; } = CreateBase();

    public string Path { get; } = Directory.CreateDirectory(
        System.IO.Path.Combine(Base, Interlocked.Increment(ref s_count).ToString(System.Globalization.CultureInfo.InvariantCulture))).FullName;

    public string this[string name] => System.IO.Path.Combine(Path, name);

    public void Dispose() => Directory.Delete(Path, recursive: true);

    private static string CreateBase()
    {
        var folder = Directory.CreateTempSubdirectory("anatomyprep-tests-").FullName;
        AppDomain.CurrentDomain.ProcessExit += (_, _) => Directory.Delete(folder, recursive: true);
        return folder;
    }
}
