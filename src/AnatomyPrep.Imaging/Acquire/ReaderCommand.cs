namespace AnatomyPrep.Imaging.Acquire;

/// <summary>How to start the reader child: a program that calls <see cref="ReaderChild.Run"/> on its standard input and output.</summary>
public sealed record ReaderCommand(string FileName, IReadOnlyList<string> Arguments)
{
    /// <summary>The running program itself, with a hidden command.</summary>
    public static ReaderCommand ThisProgram(params string[] arguments)
    {
        var host = Environment.ProcessPath ?? throw new InvalidOperationException("The path of the running program is unknown.");
        var entry = Path.Combine(AppContext.BaseDirectory, $"{System.Reflection.Assembly.GetEntryAssembly()?.GetName().Name}.dll");
        // Run as "dotnet X.dll", the host needs the program's name before its arguments.
        return Path.GetFileNameWithoutExtension(host) == "dotnet" && File.Exists(entry)
            ? new ReaderCommand(host, [entry, .. arguments])
            : new ReaderCommand(host, arguments);
    }
}

/// <summary>What the reader child may use before it is killed.</summary>
/// <param name="PerStep">Time for the header of one file, or for one frame.</param>
/// <param name="Whole">Time for one request; null for one minute and half a second a file.</param>
/// <param name="MemoryBytes">Private memory, enforced by the kernel; null for 1 GB and three times the largest file.</param>
/// <param name="MostCrashes">Files that may crash or hang the child before the whole input is given up.</param>
public sealed record ReaderLimits(TimeSpan PerStep, TimeSpan? Whole = null, long? MemoryBytes = null, int MostCrashes = 16)
{
    public static ReaderLimits Default { get; } = new(TimeSpan.FromSeconds(10));
}
