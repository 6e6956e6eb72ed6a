using System.Diagnostics;

namespace AnatomyPrep.Tests.Phantoms;

/// <summary>Runs a program of the system as an outside judge.</summary>
internal static class Tool
{
    internal static (int ExitCode, string Output, string Errors) Run(string program, params IReadOnlyList<string> arguments)
    {
        using var process = Process.Start(new ProcessStartInfo(program, arguments) { RedirectStandardOutput = true, RedirectStandardError = true })!;
        var errors = process.StandardError.ReadToEndAsync();
        var output = process.StandardOutput.ReadToEnd();
        process.WaitForExit();
        return (process.ExitCode, output, errors.Result);
    }
}
