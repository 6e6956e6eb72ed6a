using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Statements;
using AnatomyPrep.Service.Events;
using AnatomyPrep.Service.Hosting;
using AnatomyPrep.Service.Storage;

namespace AnatomyPrep.Service.Intake;

/// <summary>One file of an upload and how much of it is there.</summary>
public sealed record UploadedFile(int Number, long Bytes);

/// <summary>Files that somebody sends piece by piece; whole, they are an arrival like any other.</summary>
/// <remarks>
/// A file has a number and no name, so no name can lead anywhere. A piece says where it begins; what is there already is told on
/// request, so a sender whose line broke goes on from there. What nobody completes within a day is removed.
/// </remarks>
internal sealed class UploadStore(DataFolder folder, ServiceSettings settings, Database database, EventLog events, TimeProvider clock)
{
    private const int MostFiles = 20_000;

    internal const string Schema = """
        CREATE TABLE IF NOT EXISTS upload (
            id TEXT PRIMARY KEY,
            account TEXT NOT NULL,
            begun_at TEXT NOT NULL);
        CREATE TABLE IF NOT EXISTS upload_taken (
            id TEXT PRIMARY KEY,
            account TEXT NOT NULL,
            sorted INTEGER NOT NULL DEFAULT 0);
        CREATE TABLE IF NOT EXISTS upload_series (
            id TEXT NOT NULL,
            series_key TEXT NOT NULL,
            PRIMARY KEY (id, series_key)) WITHOUT ROWID;
        """;

    /// <summary>Before the id, in the name of the arrival it becomes.</summary>
    public const string ArrivalPrefix = "u-";

    private static readonly TimeSpan s_life = TimeSpan.FromDays(1);

    private long LargestBytes => (long)settings.Storage.LargestUploadMegabytes << 20;

    public string Begin(string account)
    {
        RemoveOld();
        var id = Guid.NewGuid().ToString("N");
        database.Write(change =>
        {
            change.Execute("INSERT INTO upload (id, account, begun_at) VALUES (@id, @account, @at)", ("@id", id), ("@account", account), ("@at", RecordTime.Text(clock.GetUtcNow())));
            events.Append(change, new("upload.begun", id, account));
        });
        DataFolder.CreateOwned(PlaceOf(id));
        return id;
    }

    /// <summary>What is there of an upload; null when it is not this account's, or over.</summary>
    public IReadOnlyList<UploadedFile>? Files(string id, string account) => !IsOpen(id, account)
        ? null
        : [.. new DirectoryInfo(PlaceOf(id)).GetFiles().Select(f => new UploadedFile(int.Parse(f.Name[..^4], CultureInfo.InvariantCulture), f.Length)).OrderBy(f => f.Number)];

    /// <summary>Adds a piece to a file; gives the file's length, null when there is no such upload.</summary>
    /// <exception cref="CheckFailedException">The piece does not begin where the file ends.</exception>
    /// <exception cref="PlanException">Too many files, or too much.</exception>
    public async Task<long?> AddAsync(string id, string account, int number, long offset, Stream piece, CancellationToken cancellation)
    {
        if (Files(id, account) is not { } files)
            return null;
        if (number is < 0 or >= MostFiles)
            throw new PlanException("upload", null, "number", "not allowed", "0 to 19999");
        // One writer at a time: a second one finds the file in use.
        using var file = new FileStream(Path.Combine(PlaceOf(id), string.Create(CultureInfo.InvariantCulture, $"{number:D6}.dcm")), FileMode.OpenOrCreate, FileAccess.Write, FileShare.None);
        if (offset != file.Length)
            throw new CheckFailedException("offset", $"{file.Length}", $"{offset}");
        file.Position = file.Length;
        var room = LargestBytes - files.Sum(f => f.Bytes);
        var block = new byte[64 << 10];
        while (await ReadAsync(piece, block, cancellation).ConfigureAwait(false) is > 0 and var read)
        {
            room -= read;
            if (room < 0)
                throw new PlanException("upload", null, "size", "too much", $"{settings.Storage.LargestUploadMegabytes} MB in all (storage.largestUploadMegabytes)");
            // Whole, whatever becomes of the line; a disk that is full is told of.
            await file.WriteAsync(block.AsMemory(0, read), CancellationToken.None).ConfigureAwait(false);
        }

        return file.Length;
    }

    /// <summary>A broken line is an end: what came is kept, and the sender asks where to go on.</summary>
    private static async Task<int> ReadAsync(Stream piece, byte[] block, CancellationToken cancellation)
    {
        try
        {
            return await piece.ReadAsync(block, cancellation).ConfigureAwait(false);
        }
        catch (Exception e) when (e is OperationCanceledException or IOException)
        {
            return 0;
        }
    }

    /// <summary>Hands an upload to the intake; false when there is no such upload.</summary>
    public bool Complete(string id, string account)
    {
        if (Files(id, account) is not { } files)
            return false;
        Close(id, account, new("upload.completed", id, account, Detail: $"{files.Count} files"), () => Directory.Move(PlaceOf(id), Path.Combine(folder.Arrived, ArrivalPrefix + id)), taken: true);
        return true;
    }

    /// <summary>What became of an upload that was handed in; null when there is no such one of this account.</summary>
    public (bool Sorted, IReadOnlyList<string> Series, IReadOnlyList<string> Sources, IReadOnlyList<string> Refused)? Outcome(string id, string account)
    {
        var taken = database.Read("SELECT sorted FROM upload_taken WHERE id = @id AND account = @account", r => r.GetInt32(0), ("@id", id), ("@account", account));
        if (taken.Count == 0)
            return null;
        var sources = database.Read(
            "SELECT s.id FROM source s JOIN upload_series u ON u.series_key = s.series_key WHERE u.id = @id AND s.replaced_by IS NULL AND s.expired_at IS NULL ORDER BY s.id", r => r.GetString(0), ("@id", id));
        var refused = database.Read("SELECT code, detail FROM event WHERE kind = 'arrival.refused' AND subject = @arrival ORDER BY number", r => $"{r.GetString(0)}: {r.GetString(1)}", ("@arrival", ArrivalPrefix + id));
        // Filed are only those whose folder is no longer growing.
        var growing = database.Read("SELECT series_key FROM upload_series WHERE id = @id", r => r.GetString(0), ("@id", id));
        return (taken[0] != 0, growing, growing.Any(k => Directory.Exists(Path.Combine(folder.Series, k))) ? [] : sources, refused);
    }

    /// <summary>Notes that an upload holds images of a series; of other arrivals nothing is noted.</summary>
    public void Holds(string arrival, string seriesKey)
    {
        if (IdOf(arrival) is { } id)
            database.Write(change => change.Execute("INSERT INTO upload_series (id, series_key) VALUES (@id, @key) ON CONFLICT DO NOTHING", ("@id", id), ("@key", seriesKey)));
    }

    /// <summary>Notes that all files of an upload were looked at.</summary>
    public void Sorted(string arrival)
    {
        if (IdOf(arrival) is { } id)
            database.Write(change => change.Execute("UPDATE upload_taken SET sorted = 1 WHERE id = @id", ("@id", id)));
    }

    private static string? IdOf(string arrival) => arrival.StartsWith(ArrivalPrefix, StringComparison.Ordinal) ? arrival[ArrivalPrefix.Length..] : null;

    /// <summary>The folder of an open upload; null when it is not this account's.</summary>
    public string? Folder(string id, string account) => IsOpen(id, account) ? PlaceOf(id) : null;

    public bool Abandon(string id, string account)
    {
        if (!IsOpen(id, account))
            return false;
        Close(id, account, new("upload.abandoned", id, account), () => Directory.Delete(PlaceOf(id), recursive: true));
        return true;
    }

    private void Close(string id, string account, ServiceEvent happened, Action move, bool taken = false) => database.Write(change =>
    {
        if (change.Execute("DELETE FROM upload WHERE id = @id AND account = @account", ("@id", id), ("@account", account)) == 0)
            return;
        if (taken)
            change.Execute("INSERT INTO upload_taken (id, account) VALUES (@id, @account) ON CONFLICT DO NOTHING", ("@id", id), ("@account", account));
        events.Append(change, happened);
        move();
    });

    private bool IsOpen(string id, string account) =>
        database.ReadOne("SELECT id FROM upload WHERE id = @id AND account = @account", r => r.GetString(0), ("@id", id), ("@account", account)) is not null && Directory.Exists(PlaceOf(id));

    private void RemoveOld()
    {
        var old = database.Read("SELECT id, account FROM upload WHERE begun_at < @then", r => (Id: r.GetString(0), Account: r.GetString(1)), ("@then", RecordTime.Text(clock.GetUtcNow() - s_life)));
        foreach (var (id, account) in old)
            Abandon(id, account);
    }

    /// <summary>The id comes from the table, where only ids of ours are.</summary>
    private string PlaceOf(string id) => Path.Combine(folder.Uploads, id);
}
