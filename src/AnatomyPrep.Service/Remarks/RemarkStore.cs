using System.Text.Json;
using AnatomyPrep.Records.Statements;
using AnatomyPrep.Service.Events;
using AnatomyPrep.Service.Storage;

namespace AnatomyPrep.Service.Remarks;

/// <summary>What people say about models before anybody signs: it fits, or goes back with marks on it.</summary>
/// <remarks>
/// Opinions, not signatures: release and rejection are of the ledger. That somebody gave one is an event, without its words.
/// Remarks of a job are numbered from 1 and only ever added.
/// </remarks>
public sealed class RemarkStore(Database database, EventLog events, TimeProvider clock)
{
    internal const string Schema = """
        CREATE TABLE IF NOT EXISTS remark (
            job_id TEXT NOT NULL REFERENCES job (id),
            number INTEGER NOT NULL,
            verdict TEXT NOT NULL,
            words TEXT,
            marks TEXT NOT NULL,
            at TEXT NOT NULL,
            by_account TEXT NOT NULL,
            PRIMARY KEY (job_id, number));
        """;

    private const string Selection = "SELECT number, verdict, words, marks, at, by_account FROM remark WHERE job_id = @job ORDER BY number";

    /// <summary>Oldest first.</summary>
    public IReadOnlyList<Remark> Of(string job) => database.Read(Selection, Entry, ("@job", job));

    /// <summary>The last verdict of each job that has one.</summary>
    public IReadOnlyDictionary<string, Verdict> Verdicts() => database.Read(
        "SELECT r.job_id, r.verdict FROM remark r WHERE r.verdict <> 'Note' AND r.number = (SELECT MAX(o.number) FROM remark o WHERE o.job_id = r.job_id AND o.verdict <> 'Note')",
        r => KeyValuePair.Create(r.GetString(0), Enum.Parse<Verdict>(r.GetString(1)))).ToDictionary();

    /// <summary>Adds a remark.</summary>
    /// <param name="known">How many the writer has seen; null to add it whatever others said.</param>
    /// <returns>Null when others were added meanwhile.</returns>
    public Remark? Add(string job, NewRemark said, string account, int? known) => database.Write(change =>
    {
        var there = change.Read(Selection, Entry, ("@job", job));
        if (known is { } seen && seen != there.Count)
            return null;
        var remark = new Remark(there.Count + 1, said.Verdict, said.Words, said.Marks ?? [], clock.GetUtcNow(), account);
        change.Execute(
            "INSERT INTO remark (job_id, number, verdict, words, marks, at, by_account) VALUES (@job, @number, @verdict, @words, @marks, @at, @by)",
            ("@job", job), ("@number", remark.Number), ("@verdict", remark.Verdict.ToString()), ("@words", remark.Words), ("@marks", JsonSerializer.Serialize(remark.Marks)), ("@at", RecordTime.Text(remark.At)), ("@by", account));
        events.Append(change, new(KindOf(said.Verdict), job, account, Detail: $"remark {remark.Number}, {remark.Marks.Count} marks"));
        return remark;
    });

    private static string KindOf(Verdict verdict) => verdict switch { Verdict.Fits => "model.fits", Verdict.Back => "model.sent-back", _ => "model.remarked" };

    private static Remark Entry(System.Data.Common.DbDataReader row) => new(
        row.GetInt32(0),
        Enum.Parse<Verdict>(row.GetString(1)),
        row.IsDBNull(2) ? null : row.GetString(2),
        JsonSerializer.Deserialize<List<RemarkMark>>(row.GetString(3)) ?? [],
        RecordTime.Parse(row.GetString(4)),
        row.GetString(5));
}
