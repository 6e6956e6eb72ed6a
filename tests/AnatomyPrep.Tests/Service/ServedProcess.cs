using System.Diagnostics;
using System.Globalization;

namespace AnatomyPrep.Tests.Service;

/// <summary>The service as its users start it: a process that can be killed.</summary>
internal sealed class ServedProcess : IDisposable
{
    private readonly Process _process;

    private ServedProcess(Process process) => _process = process;

    public Uri Page { get; private set; } = null!;

    public int ReceiverPort { get; private set; }

    /// <summary>What it printed until it served.</summary>
    public List<string> Printed { get; } = [];

    /// <summary>Starts `serve` on free ports and waits until it has printed them.</summary>
    /// <param name="network">Network namespace to run in; null for the one of the tests.</param>
    /// <param name="environment">Variables to add.</param>
    public static ServedProcess Start(string data, bool receiver = true, string? network = null, IReadOnlyDictionary<string, string>? environment = null)
    {
        string[] words = ["dotnet", Path.Combine(AppContext.BaseDirectory, "AnatomyPrep.App.dll"), "serve", "--data", data, "--urls", "http://127.0.0.1:0"];
        if (network is not null)
            words = ["ip", "netns", "exec", network, .. words];
        var start = new ProcessStartInfo(words[0], words[1..])
        {
            RedirectStandardOutput = true,
            RedirectStandardError = true,
        };
        start.Environment["ANATOMYPREP_HOME"] = data;
        foreach (var (name, value) in environment ?? new Dictionary<string, string>())
            start.Environment[name] = value;
        var served = new ServedProcess(Process.Start(start)!);
        served._process.ErrorDataReceived += (_, _) => { };
        served._process.BeginErrorReadLine();
        while (served.Page is null || (receiver && served.ReceiverPort == 0))
        {
            var line = served._process.StandardOutput.ReadLine() ?? throw new InvalidOperationException("The service ended before it served.");
            served.Printed.Add(line);
            if (line.StartsWith("page ", StringComparison.Ordinal))
                served.Page = new Uri(line["page ".Length..]);
            if (line.StartsWith("receiver port ", StringComparison.Ordinal))
                served.ReceiverPort = int.Parse(line["receiver port ".Length..], CultureInfo.InvariantCulture);
        }

        return served;
    }

    public void Kill()
    {
        _process.Kill();
        _process.WaitForExit();
    }

    /// <summary>Sends a signal, such as STOP, to the service alone.</summary>
    public void Signal(string name)
    {
        using var sent = Process.Start("kill", [$"-{name}", _process.Id.ToString(CultureInfo.InvariantCulture)]);
        sent.WaitForExit();
    }

    public void Dispose()
    {
        if (!_process.HasExited)
            Kill();
        _process.Dispose();
    }
}
