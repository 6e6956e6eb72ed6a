using System.Net;
using System.Text.Json;
using System.Text.Json.Serialization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Service.Storage;

namespace AnatomyPrep.Service.Hosting;

/// <summary>What a site may set, in settings.json of the data folder; without the file everything is as written here.</summary>
public sealed record ServiceSettings
{
    private static readonly JsonSerializerOptions s_json = new()
    {
        PropertyNamingPolicy = JsonNamingPolicy.CamelCase,
        UnmappedMemberHandling = JsonUnmappedMemberHandling.Disallow,
        ReadCommentHandling = JsonCommentHandling.Skip,
        AllowTrailingCommas = true,
    };

    public ReceiverSettings Receiver { get; init; } = new();

    public IntakeSettings Intake { get; init; } = new();

    public JobSettings Jobs { get; init; } = new();

    public StorageSettings Storage { get; init; } = new();

    public PageSettings Page { get; init; } = new();

    public Ledgers.LedgerSettings Ledger { get; init; } = new();

    public Messages.MessageSettings Messages { get; init; } = new();

    /// <summary>Sign-in of an organisation; null: accounts of this service only.</summary>
    public Accounts.SignInSettings? SignIn { get; init; }

    public TelemetrySettings Telemetry { get; init; } = new();

    public IReadOnlyList<Dicomweb.ArchiveSettings> Archives { get; init; } = [];

    public RetentionSettings Retention { get; init; } = new();

    /// <exception cref="PlanException">The file is not such settings; the message names the setting.</exception>
    public static ServiceSettings Read(string path)
    {
        if (!File.Exists(path))
            return new();
        try
        {
            var settings = JsonSerializer.Deserialize<ServiceSettings>(File.ReadAllText(path), s_json) ?? new();
            settings.Receiver.Check();
            settings.Intake.Check();
            settings.Jobs.Check();
            settings.Storage.Check();
            settings.Page.Check();
            settings.Ledger.Check();
            settings.Messages.Check();
            settings.SignIn?.Check();
            settings.Telemetry.Check();
            Require(!Database.AreSame(settings.Storage.Database, settings.Ledger.Postgres), "ledger.postgres", "the database of storage.database", "another database of that server, or another server: both have a table of the name event");
            foreach (var archive in settings.Archives)
                archive.Check();
            Require(settings.Archives.DistinctBy(a => a.Name).Count() == settings.Archives.Count, "archives", "a name twice", "each a name of its own");
            settings.Retention.Check();
            return settings;
        }
        catch (JsonException e)
        {
            throw Wrong(e.Path ?? "file", "not understood", $"the settings that docs/operations lists (line {e.LineNumber + 1})");
        }
    }

    internal static PlanException Wrong(string setting, string value, string allowed) => new("settings.json", null, setting, value, allowed);

    /// <summary>https, or http to this machine, without a user in it.</summary>
    internal static bool IsSafeAddress(string text) =>
        Uri.TryCreate(text, UriKind.Absolute, out var url) && url.UserInfo.Length == 0 && (url.Scheme == "https" || (url.Scheme == "http" && IsLoopback(url.Host)));

    internal static bool IsLoopback(string host) => host == "localhost" || (IPAddress.TryParse(host, out var address) && IPAddress.IsLoopback(address));

    internal static void RequireNetworks(IReadOnlyList<string> networks, string setting, string example = "10.1.0.0/16") =>
        Require(networks.All(n => IPNetwork.TryParse(n, out _)), setting, string.Join(", ", networks), $"networks such as {example}");

    internal static void Require(bool holds, string setting, object value, string allowed)
    {
        if (!holds)
            throw Wrong(setting, string.Create(System.Globalization.CultureInfo.InvariantCulture, $"{value}"), allowed);
    }
}

/// <summary>The DICOM receiver; off until a site turns it on.</summary>
public sealed record ReceiverSettings
{
    public bool Enabled { get; init; }

    /// <summary>Address to listen on; loopback until told otherwise.</summary>
    public string Address { get; init; } = "127.0.0.1";

    /// <summary>0 for any that is free.</summary>
    public int Port { get; init; } = 11112;

    /// <summary>Our own AE title.</summary>
    public string Title { get; init; } = "ANATOMYPREP";

    /// <summary>Whose files are taken; those of others are quarantined.</summary>
    public IReadOnlyList<string> CallingTitles { get; init; } = [];

    /// <summary>Networks that may connect, such as 10.1.0.0/16; empty for all that reach the address.</summary>
    public IReadOnlyList<string> Peers { get; init; } = [];

    public int MostAssociations { get; init; } = 8;

    /// <summary>PEM files of key and certificate, and of the authority that signed the certificates of peers; all three or none.</summary>
    public string? TlsKey { get; init; }

    public string? TlsCertificate { get; init; }

    public string? TlsAuthority { get; init; }

    public bool HasTls => TlsKey is not null;

    internal void Check()
    {
        ServiceSettings.Require(IPAddress.TryParse(Address, out _), "receiver.address", Address, "an IP address of this machine");
        ServiceSettings.Require(Port is >= 0 and <= 65535, "receiver.port", Port, "0 to 65535");
        ServiceSettings.Require(IsTitle(Title), "receiver.title", Title, "1 to 16 letters, digits, - and _");
        ServiceSettings.Require(CallingTitles.All(IsTitle), "receiver.callingTitles", string.Join(", ", CallingTitles), "titles of 1 to 16 letters, digits, - and _");
        ServiceSettings.Require(!Enabled || CallingTitles.Count > 0, "receiver.callingTitles", "none", "the title of at least one device");
        ServiceSettings.RequireNetworks(Peers, "receiver.peers", "10.1.0.0/16 or 10.1.2.3/32");
        ServiceSettings.Require(MostAssociations is >= 1 and <= 100, "receiver.mostAssociations", MostAssociations, "1 to 100");
        string?[] tls = [TlsKey, TlsCertificate, TlsAuthority];
        ServiceSettings.Require(tls.All(t => t is null) || tls.All(File.Exists), "receiver.tls*", "some of three files", "tlsKey, tlsCertificate and tlsAuthority together, each a PEM file that is there");
    }

    private static bool IsTitle(string title) => title.Length is >= 1 and <= 16 && title.All(c => char.IsAsciiLetterOrDigit(c) || c is '-' or '_');
}

/// <summary>How what comes in becomes a source.</summary>
public sealed record IntakeSettings
{
    /// <summary>A series nothing was added to for this long is complete.</summary>
    public double QuietSeconds { get; init; } = 30;

    /// <summary>Folder whose new files and folders are taken; null for none.</summary>
    public string? WatchedFolder { get; init; }

    /// <summary>A delivery in the watched folder that did not change for this long is taken.</summary>
    public double SettleSeconds { get; init; } = 10;

    internal void Check()
    {
        ServiceSettings.Require(QuietSeconds is >= 0.1 and <= 86_400, "intake.quietSeconds", QuietSeconds, "0.1 to 86400");
        ServiceSettings.Require(SettleSeconds is >= 0.1 and <= 86_400, "intake.settleSeconds", SettleSeconds, "0.1 to 86400");
        ServiceSettings.Require(WatchedFolder is null || Directory.Exists(WatchedFolder), "intake.watchedFolder", "not there", "a folder that is there");
    }
}

/// <summary>How many jobs run at once, and what each may use.</summary>
public sealed record JobSettings
{
    private const int LeastMegabytes = 2048;

    public int Workers { get; init; } = 1;

    /// <summary>Private memory of one worker, enforced by the kernel; its own reader of images counts apart.</summary>
    public int MemoryMegabytes { get; init; } = 4096;

    public double LongestMinutes { get; init; } = 120;

    internal TimeSpan Longest => TimeSpan.FromMinutes(LongestMinutes);

    internal void Check()
    {
        var machine = GC.GetGCMemoryInfo().TotalAvailableMemoryBytes >> 20;
        ServiceSettings.Require(Workers is >= 1 and <= 64, "jobs.workers", Workers, "1 to 64");
        ServiceSettings.Require(MemoryMegabytes >= LeastMegabytes, "jobs.memoryMegabytes", MemoryMegabytes, $"{LeastMegabytes} or more");
        ServiceSettings.Require(Workers == 1 || (long)Workers * MemoryMegabytes <= machine, "jobs.workers", Workers, $"workers times memoryMegabytes within the {machine} MB of this machine");
        ServiceSettings.Require(LongestMinutes is > 0 and <= 1440, "jobs.longestMinutes", LongestMinutes, "above 0, up to 1440");
    }
}

public sealed record StorageSettings
{
    /// <summary>With less free on the disk no job is started and no association taken.</summary>
    public int LeastFreeMegabytes { get; init; } = 1024;

    /// <summary>Connection string of a PostgreSQL database that several nodes share; null for a file of this node's own.</summary>
    public string? Database { get; init; }

    /// <summary>Folder of sources, results and keys that all nodes share; goes with <see cref="Database"/>.</summary>
    public string? SharedFolder { get; init; }

    /// <summary>A job of another node that gives no sign for so long is run here.</summary>
    public double StaleSeconds { get; init; } = 30;

    /// <summary>All files of one upload together.</summary>
    public int LargestUploadMegabytes { get; init; } = 8192;

    internal void Check()
    {
        ServiceSettings.Require(LeastFreeMegabytes >= 0, "storage.leastFreeMegabytes", LeastFreeMegabytes, "0 or more");
        ServiceSettings.Require(LargestUploadMegabytes >= 1, "storage.largestUploadMegabytes", LargestUploadMegabytes, "1 or more");
        ServiceSettings.Require((Database is null) == (SharedFolder is null), "storage.database, storage.sharedFolder", "one of two", "both for several nodes, or neither");
        ServiceSettings.Require(SharedFolder is null || Directory.Exists(SharedFolder), "storage.sharedFolder", "not there", "a folder that is there");
        ServiceSettings.Require(StaleSeconds is >= 2 and <= 3600, "storage.staleSeconds", StaleSeconds, "2 to 3600");
    }
}

/// <summary>Page and API; their address is given to the command.</summary>
public sealed record PageSettings
{
    /// <summary>PEM files, for an address that begins with https.</summary>
    public string? TlsCertificate { get; init; }

    public string? TlsKey { get; init; }

    internal void Check() => ServiceSettings.Require(
        (TlsCertificate is null && TlsKey is null) || (File.Exists(TlsCertificate) && File.Exists(TlsKey)), "page.tls*", "one of two files", "tlsCertificate and tlsKey together, each a PEM file that is there");
}
