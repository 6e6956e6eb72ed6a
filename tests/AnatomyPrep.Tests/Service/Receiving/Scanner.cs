using System.Diagnostics;
using System.Globalization;

namespace AnatomyPrep.Tests.Service.Receiving;

/// <summary>DCMTK's storescu: an independent sender.</summary>
internal static class Scanner
{
    public static Process Start(int port, string title, IEnumerable<string> files, params string[] options)
    {
        var start = new ProcessStartInfo("storescu", ["-aet", title, "-aec", "ANATOMYPREP", .. options, "127.0.0.1", port.ToString(CultureInfo.InvariantCulture), .. files])
        {
            RedirectStandardError = true,
            RedirectStandardOutput = true,
        };
        return Process.Start(start)!;
    }

    /// <summary>Sends files in one association; the exit code of storescu.</summary>
    public static int Send(int port, string title, IEnumerable<string> files, params string[] options)
    {
        using var sender = Start(port, title, files, options);
        return End(sender);
    }

    public static int End(Process sender)
    {
        var errors = sender.StandardError.ReadToEndAsync();
        sender.StandardOutput.ReadToEnd();
        sender.WaitForExit();
        errors.Wait();
        return sender.ExitCode;
    }
}
