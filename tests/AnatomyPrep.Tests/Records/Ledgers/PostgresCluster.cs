using System.Diagnostics;
using System.Globalization;

namespace AnatomyPrep.Tests.Records.Ledgers;

/// <summary>A PostgreSQL server of the tests' own: a socket in a temporary folder, no network port, gone with the tests.</summary>
public sealed class PostgresCluster : IDisposable
{
    private readonly string _folder = Directory.CreateTempSubdirectory("anatomyprep-pg-").FullName;
    private readonly string _tools = Directory.GetDirectories("/usr/lib/postgresql").Order(StringComparer.Ordinal).Last() + "/bin";
    private readonly string _account = "";
    private Process? _server;
    private int _databases;

    public PostgresCluster()
        : this(null)
    {
    }

    /// <param name="listen">Address of this machine that the server listens on too; null for its socket alone.</param>
    internal PostgresCluster(string? listen)
    {
        if (Environment.UserName == "root")
        {
            // The server refuses to run as root; Debian's package brings this user.
            _account = "postgres";
            Must("chown", "postgres", _folder);
        }

        Must("initdb", "-D", Path.Combine(_folder, "data"), "-U", "tests", "--auth=trust", "-E", "UTF8", "--locale=C.UTF-8");
        if (listen is not null)
            File.AppendAllText(Path.Combine(_folder, "data", "pg_hba.conf"), "host all tests samenet trust\n");
        _server = Process.Start(Start("postgres", "-D", Path.Combine(_folder, "data"), "-k", _folder, "-c", $"listen_addresses={listen}"))!;
        _server.OutputDataReceived += (_, _) => { };
        _server.ErrorDataReceived += (_, _) => { };
        _server.BeginOutputReadLine();
        _server.BeginErrorReadLine();
        AppDomain.CurrentDomain.ProcessExit += (_, _) => Dispose();
        for (var tries = 0; Tool.Run(_folder, Path.Combine(_tools, "pg_isready"), "-h", _folder).ExitCode != 0; tries++)
        {
            if (tries == 300)
                throw new InvalidOperationException("The PostgreSQL server of the tests did not start.");
            Thread.Sleep(100);
        }
    }

    /// <summary>Connection string of a new, empty database.</summary>
    public string NewDatabase()
    {
        var name = "ledger" + Interlocked.Increment(ref _databases).ToString(CultureInfo.InvariantCulture);
        Must("createdb", "-h", _folder, "-U", "tests", name);
        return $"Host={_folder};Username=tests;Database={name}";
    }

    public void Dispose()
    {
        if (Interlocked.Exchange(ref _server, null) is not { } server)
            return;
        // The process started may only be the one that changed the user; the server's own tool stops the server.
        Tool.Run(_folder, _account.Length == 0 ? Path.Combine(_tools, "pg_ctl") : "setpriv",
            [.. Prefix(), .. _account.Length == 0 ? Array.Empty<string>() : [Path.Combine(_tools, "pg_ctl")], "stop", "-m", "immediate", "-D", Path.Combine(_folder, "data")]);
        server.WaitForExit();
        server.Dispose();
        Directory.Delete(_folder, recursive: true);
    }

    private string[] Prefix() => _account.Length == 0 ? [] : ["--reuid", _account, "--regid", _account, "--clear-groups"];

    private ProcessStartInfo Start(string tool, params string[] arguments)
    {
        var program = tool == "chown" ? tool : Path.Combine(_tools, tool);
        var start = _account.Length == 0 || tool == "chown"
            ? new ProcessStartInfo(program, arguments)
            : new ProcessStartInfo("setpriv", [.. Prefix(), program, .. arguments]);
        start.WorkingDirectory = _folder;
        start.RedirectStandardOutput = true;
        start.RedirectStandardError = true;
        return start;
    }

    private void Must(string tool, params string[] arguments)
    {
        using var process = Process.Start(Start(tool, arguments))!;
        var errors = process.StandardError.ReadToEndAsync();
        process.StandardOutput.ReadToEnd();
        process.WaitForExit();
        if (process.ExitCode != 0)
            throw new InvalidOperationException($"{tool} failed: {errors.Result}");
    }
}

[CollectionDefinition("PostgreSQL")]
public sealed class PostgresCollection : ICollectionFixture<PostgresCluster>;
