namespace AnatomyPrep.App;

/// <summary>Where the program keeps what is its own: keys, logs, the list of known sources. Nothing of it leaves the machine.</summary>
internal sealed class AppFolders
{
    public AppFolders(string? home)
    {
        Home = Path.GetFullPath(!string.IsNullOrEmpty(home) ? home : DefaultHome());
    }

    public string Home { get; }

    public string Keys => Path.Combine(Home, "keys");

    public string Logs => Path.Combine(Home, "logs");

    public string KnownSources => Path.Combine(Home, "known-sources.json");

    /// <summary>ANATOMYPREP_HOME, or the user's data directory.</summary>
    public static AppFolders FromEnvironment() => new(Environment.GetEnvironmentVariable("ANATOMYPREP_HOME"));

    private static string DefaultHome()
    {
        var data = Environment.GetFolderPath(Environment.SpecialFolder.LocalApplicationData, Environment.SpecialFolderOption.DoNotVerify);
        return Path.Combine(string.IsNullOrEmpty(data) ? Path.GetTempPath() : data, "anatomyprep");
    }
}
