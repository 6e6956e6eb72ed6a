using System.Diagnostics;
using AnatomyPrep.Imaging.Acquire;

namespace AnatomyPrep.Tests;

/// <summary>The real program, started as its users start it.</summary>
internal static class TestProgram
{
    private static readonly string s_dll = Path.Combine(AppContext.BaseDirectory, "AnatomyPrep.App.dll");

    public static ReaderCommand Reader { get; } = new("dotnet", [s_dll, AnatomyPrep.App.Program.ReaderCommand]);

    public static ReaderCommand Command { get; } = new("dotnet", [s_dll]);

    /// <summary>Runs a command with its own home folder and gives exit code and both outputs.</summary>
    public static (int ExitCode, string Output, string Errors) Run(string home, params string[] arguments) => Run(home, null, arguments);

    public static (int ExitCode, string Output, string Errors) Run(string home, int? processors, params string[] arguments)
    {
        var start = new ProcessStartInfo("dotnet", [s_dll, .. arguments]) { RedirectStandardOutput = true, RedirectStandardError = true };
        start.Environment["ANATOMYPREP_HOME"] = home;
        if (processors is { } count)
            start.Environment["DOTNET_PROCESSOR_COUNT"] = count.ToString(System.Globalization.CultureInfo.InvariantCulture);
        using var process = Process.Start(start)!;
        var errors = process.StandardError.ReadToEndAsync();
        var output = process.StandardOutput.ReadToEnd();
        process.WaitForExit();
        return (process.ExitCode, output, errors.Result);
    }
}
