using System.Diagnostics;
using System.Globalization;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>Limits that the kernel enforces on a child.</summary>
internal sealed record KernelLimits(long MemoryBytes, TimeSpan ProcessorTime, long FileBytes);

/// <summary>
/// A child process that cannot outlive its parent, gains no privileges, dumps no core, and stays within
/// <see cref="KernelLimits"/>. Its error output is thrown away, because it may quote the file it reads.
/// </summary>
/// <remarks>
/// setpriv(1) asks the kernel to kill the child when its parent dies. The kernel means the parent's *thread*
/// (prctl(2), PR_SET_PDEATHSIG), so each child is started from a thread of its own that lives as long as the child.
/// RLIMIT_DATA counts all private writable memory (Linux 4.7 and later), so it bounds managed and native heap together,
/// while address space, which .NET reserves in plenty, and the mapped output stay free. The environment is
/// emptied but for what a program needs to start.
/// </remarks>
internal sealed class SupervisedProcess : IDisposable
{
    private static readonly string[] s_inherited = ["PATH", "HOME", "TMPDIR", "DOTNET_ROOT", "DOTNET_ROOT_X64", "DOTNET_PROCESSOR_COUNT"];

    private readonly Process _process = new();
    private readonly Thread _keeper;
    private readonly ManualResetEventSlim _started = new();
    private Exception? _startFailure;

    public SupervisedProcess(string fileName, IEnumerable<string> arguments, KernelLimits limits, IReadOnlyDictionary<string, string>? environment = null)
    {
        _process.StartInfo = Describe(fileName, arguments, limits, environment ?? new Dictionary<string, string>());
        _keeper = new Thread(Keep) { IsBackground = true, Name = "child keeper" };
        _keeper.Start();
        _started.Wait();
        if (_startFailure is not null)
            throw new InvalidOperationException($"{fileName} cannot be started: install the packages util-linux and dcmtk.", _startFailure);
    }

    public Stream Input => _process.StandardInput.BaseStream;

    public Stream Output => _process.StandardOutput.BaseStream;

    /// <summary>Negative or above 128 when a signal ended it. Waits for the end.</summary>
    public int WaitForExit()
    {
        _keeper.Join();
        return _process.ExitCode;
    }

    public bool WaitForExit(TimeSpan longest) => _keeper.Join(longest);

    public void Kill()
    {
        try
        {
            _process.Kill();
        }
        catch (InvalidOperationException)
        {
            // It has ended by itself.
        }
    }

    public void Dispose()
    {
        Kill();
        _keeper.Join();
        // A stream that was once asked for is not closed with its process.
        Input.Dispose();
        Output.Dispose();
        _process.StandardError.Dispose();
        _process.Dispose();
        _started.Dispose();
    }

    private static ProcessStartInfo Describe(string fileName, IEnumerable<string> arguments, KernelLimits limits, IReadOnlyDictionary<string, string> environment)
    {
        var seconds = (long)Math.Ceiling(limits.ProcessorTime.TotalSeconds);
        var start = new ProcessStartInfo("setpriv")
        {
            RedirectStandardInput = true,
            RedirectStandardOutput = true,
            RedirectStandardError = true,
            UseShellExecute = false,
        };
        string[] wrapped =
        [
            "--no-new-privs", "--pdeathsig", "KILL", "--", "prlimit",
            "--core=0", "--nofile=512",
            string.Create(CultureInfo.InvariantCulture, $"--cpu={seconds}"),
            string.Create(CultureInfo.InvariantCulture, $"--data={limits.MemoryBytes}"),
            string.Create(CultureInfo.InvariantCulture, $"--fsize={limits.FileBytes}"),
            "--", fileName, .. arguments,
        ];
        foreach (var argument in wrapped)
            start.ArgumentList.Add(argument);
        var kept = s_inherited.Select(n => (n, Environment.GetEnvironmentVariable(n))).Where(v => v.Item2 is not null).ToArray();
        start.Environment.Clear();
        foreach (var (name, value) in kept)
            start.Environment[name] = value;
        start.Environment["LC_ALL"] = "C";
        foreach (var (name, value) in environment)
            start.Environment[name] = value;
        return start;
    }

    private void Keep()
    {
        try
        {
            _process.Start();
        }
        catch (Exception e) when (e is System.ComponentModel.Win32Exception or InvalidOperationException)
        {
            _startFailure = e;
            _started.Set();
            return;
        }

        _started.Set();
        Drain(_process.StandardError.BaseStream);
        _process.WaitForExit();
    }

    private static void Drain(Stream stream)
    {
        var block = new byte[4096];
        try
        {
            while (stream.Read(block) > 0)
            {
            }
        }
        catch (IOException)
        {
            // The pipe broke with the process.
        }
    }
}
