using System.Diagnostics;

namespace AnatomyPrep.Tests.Records;

/// <summary>Runs a general tool to the end, for tests that compare with it.</summary>
internal static class Tool
{
    public static (int ExitCode, string Output) Run(string folder, string program, params string[] arguments)
    {
        var start = new ProcessStartInfo(program, arguments)
        {
            WorkingDirectory = folder,
            RedirectStandardOutput = true,
            RedirectStandardError = true,
            UseShellExecute = false,
        };
        using var process = Process.Start(start)!;
        var errors = process.StandardError.ReadToEndAsync();
        var output = process.StandardOutput.ReadToEnd();
        process.WaitForExit();
        return (process.ExitCode, output + errors.Result);
    }
}
