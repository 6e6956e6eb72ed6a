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
        """;

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
        try
        {
            while (await piece.ReadAsync(block, cancellation).ConfigureAwait(false) is > 0 and var read)
            {
                room -= read;
                if (room < 0)
                    throw new PlanException("upload", null, "size", "too much", $"{settings.Storage.LargestUploadMegabytes} MB in all (storage.largestUploadMegabytes)");
                await file.WriteAsync(block.AsMemory(0, read), cancellation).ConfigureAwait(false);
            }
        }
        catch (Exception e) when (e is OperationCanceledException or IOException)
        {
            // A broken line: what came is kept, and the sender asks where to go on.
        }

        return file.Length;
    }

    /// <summary>Hands an upload to the intake; false when there is no such upload.</summary>
    public bool Complete(string id, string account)
    {
        if (Files(id, account) is not { } files)
            return false;
        Close(id, account, new("upload.completed", id, account, Detail: $"{files.Count} files"), () => Directory.Move(PlaceOf(id), Path.Combine(folder.Arrived, $"u-{id}")));
        return true;
    }

    public bool Abandon(string id, string account)
    {
        if (!IsOpen(id, account))
            return false;
        Close(id, account, new("upload.abandoned", id, account), () => Directory.Delete(PlaceOf(id), recursive: true));
        return true;
    }

    private void Close(string id, string account, ServiceEvent happened, Action move) => database.Write(change =>
    {
        if (change.Execute("DELETE FROM upload WHERE id = @id AND account = @account", ("@id", id), ("@account", account)) == 0)
            return;
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
