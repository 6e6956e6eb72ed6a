using System.Diagnostics;
using System.Globalization;
using System.Runtime.InteropServices;
using System.Text;
using Microsoft.Win32.SafeHandles;

namespace AnatomyPrep.Core.Running;

/// <summary>Limits that the kernel enforces on a child.</summary>
public sealed record KernelLimits(long MemoryBytes, TimeSpan ProcessorTime, long FileBytes, int OpenFiles = 512);

/// <summary>
/// A child process that cannot outlive its parent, gains no privileges, dumps no core, and stays within
/// <see cref="KernelLimits"/>. Its error output is thrown away, because it may quote the file it reads, unless it is asked for.
/// </summary>
/// <remarks>
/// setpriv(1) asks the kernel to kill the child when its parent dies. The kernel means the parent's *thread*
/// (prctl(2), PR_SET_PDEATHSIG), so each child is started from a thread of its own that lives as long as the child.
/// RLIMIT_DATA counts all private writable memory (Linux 4.7 and later), so it bounds managed and native heap together,
/// while address space, which .NET reserves in plenty, and the mapped output stay free. The environment is
/// emptied but for what a program needs to start.
/// </remarks>
public sealed partial class SupervisedProcess : IDisposable
{
    private const int KeptErrorBytes = 16 << 10;

    // A handle that is to pass to one child must not slip into another that starts at the same moment.
    private static readonly Lock s_starting = new();
    private static readonly string[] s_inherited = ["PATH", "HOME", "TMPDIR", "DOTNET_ROOT", "DOTNET_ROOT_X64", "DOTNET_PROCESSOR_COUNT"];

    private readonly Process _process = new();
    private readonly Thread _keeper;
    private readonly ManualResetEventSlim _started = new();
    private readonly MemoryStream? _errors;
    private readonly SafeHandle? _connection;
    private readonly string[] _command;
    private Exception? _startFailure;

    /// <param name="keepErrors">Keep the first 16 KB of the error output: for a program that never quotes what it reads.</param>
    /// <param name="connection">A socket that becomes the child's standard input, as inetd(8) does it; stays the caller's.</param>
    /// <exception cref="InvalidOperationException">It cannot be started.</exception>
    public SupervisedProcess(string fileName, IEnumerable<string> arguments, KernelLimits limits, IReadOnlyDictionary<string, string>? environment = null, bool keepErrors = false, SafeHandle? connection = null)
    {
        _connection = connection;
        _errors = keepErrors ? new MemoryStream() : null;
        _process.StartInfo = Describe(limits, environment ?? new Dictionary<string, string>());
        _command = [fileName, .. arguments];
        _keeper = new Thread(Keep) { IsBackground = true, Name = "child keeper" };
        _keeper.Start();
        _started.Wait();
        if (_startFailure is not null)
            throw new InvalidOperationException($"{fileName} cannot be started: install the packages util-linux and dcmtk.", _startFailure);
    }

    public Stream Input => _process.StandardInput.BaseStream;

    public Stream Output => _process.StandardOutput.BaseStream;

    /// <summary>Of setpriv, which becomes the program itself.</summary>
    public int Id => _process.Id;

    /// <summary>Begin of the error output, where it was to be kept; complete once the child has ended.</summary>
    public string Errors => _errors is null ? "" : Encoding.UTF8.GetString(_errors.ToArray());

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
        _errors?.Dispose();
    }

    private static ProcessStartInfo Describe(KernelLimits limits, IReadOnlyDictionary<string, string> environment)
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
            "--core=0",
            string.Create(CultureInfo.InvariantCulture, $"--nofile={limits.OpenFiles}"),
            string.Create(CultureInfo.InvariantCulture, $"--cpu={seconds}"),
            string.Create(CultureInfo.InvariantCulture, $"--data={limits.MemoryBytes}"),
            string.Create(CultureInfo.InvariantCulture, $"--fsize={limits.FileBytes}"),
            "--",
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
            lock (s_starting)
                Start();
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

    private void Start()
    {
        using var inherited = _connection is null ? null : Inheritable(_connection);
        // Of the shell's words none comes from outside: the descriptor's number is its $0, the command its arguments.
        string[] redirect = inherited is null ? [] : ["bash", "-c", "exec \"$@\" <&\"$0\"", inherited.DangerousGetHandle().ToString(CultureInfo.InvariantCulture)];
        foreach (var argument in redirect.Concat(_command))
            _process.StartInfo.ArgumentList.Add(argument);
        _process.Start();
    }

    /// <summary>A second descriptor of the same socket; dup(2) leaves out the mark that closes it in children.</summary>
    private static SafeFileHandle Inheritable(SafeHandle handle)
    {
        var copy = Dup((int)handle.DangerousGetHandle());
        return copy >= 0 ? new SafeFileHandle(copy, ownsHandle: true) : throw new InvalidOperationException("The socket cannot be handed on.");
    }

    [LibraryImport("libc", EntryPoint = "dup", SetLastError = true)]
    private static partial int Dup(int descriptor);

    private void Drain(Stream stream)
    {
        var block = new byte[4096];
        try
        {
            while (stream.Read(block) is > 0 and var read)
                if (_errors is { Length: < KeptErrorBytes })
                    _errors.Write(block, 0, read);
        }
        catch (IOException)
        {
            // The pipe broke with the process.
        }
    }
}
