using AnatomyPrep.Records.Statements;
using AnatomyPrep.Service.Events;

namespace AnatomyPrep.Service.Storage;

/// <summary>One file of a source.</summary>
/// <param name="Key">Pseudonym of the image; the file's name without ".dcm".</param>
public sealed record SourceFileEntry(string Key, string Sha256, long Bytes);

/// <summary>What a source is, written beside its files, so that the database can be made again from the folders.</summary>
/// <param name="Id">SHA-256 over series and images (<see cref="Intake.SourceId"/>), hex.</param>
/// <param name="SeriesKey">Pseudonyms, hex.</param>
/// <param name="Replaces">An earlier source of the same series with fewer images.</param>
/// <param name="BodyPart">As the headers say it; null where they do not, or do not agree.</param>
/// <param name="Laterality">R, L, B or U; null where the headers do not say.</param>
/// <param name="Samples">Of all images; null of a source that an earlier version filed.</param>
public sealed record SourceManifest(
    string Id, string SeriesKey, string? StudyKey, string? PatientKey, DateTimeOffset FiledAt, string? Replaces, IReadOnlyList<SourceFileEntry> Files,
    string? BodyPart = null, string? Laterality = null, long? Samples = null);

/// <summary>A source as the lists show it.</summary>
/// <param name="ExpiredAt">Its images are gone since then; they may be sent again.</param>
public sealed record SourceEntry(string Id, string SeriesKey, string? StudyKey, string? PatientKey, DateTimeOffset FiledAt, string? ReplacedBy, int Files, long Bytes, string? BodyPart, string? Laterality, long? Samples, DateTimeOffset? ExpiredAt = null);

/// <summary>The sources that are there.</summary>
public sealed class SourceStore(Database database, EventLog events)
{
    internal const string Schema = """
        CREATE TABLE IF NOT EXISTS source (
            id TEXT PRIMARY KEY,
            series_key TEXT NOT NULL,
            study_key TEXT,
            patient_key TEXT,
            filed_at TEXT NOT NULL,
            replaced_by TEXT,
            files INTEGER NOT NULL,
            bytes INTEGER NOT NULL);
        CREATE INDEX IF NOT EXISTS source_of_series ON source (series_key);
        CREATE TABLE IF NOT EXISTS source_file (
            source_id TEXT NOT NULL REFERENCES source (id),
            key TEXT NOT NULL,
            sha256 TEXT NOT NULL,
            bytes INTEGER NOT NULL,
            PRIMARY KEY (source_id, key)) WITHOUT ROWID;
        """;

    /// <summary>Columns that the first version did not have.</summary>
    internal static readonly (string, string)[] Added = [("body_part", "TEXT"), ("laterality", "TEXT"), ("samples", "INTEGER"), ("expired_at", "TEXT"), ("files_gone", "INTEGER NOT NULL DEFAULT 0")];

    internal const string Columns = "id, series_key, study_key, patient_key, filed_at, replaced_by, files, bytes, body_part, laterality, samples, expired_at";

    /// <summary>Adds a source, once; false when it is there already.</summary>
    public bool Add(SourceManifest source) => database.Write(change =>
    {
        var added = change.Execute(
            "INSERT INTO source (id, series_key, study_key, patient_key, filed_at, files, bytes, body_part, laterality, samples) VALUES (@id, @series, @study, @patient, @at, @files, @bytes, @part, @laterality, @samples) ON CONFLICT DO NOTHING",
            ("@id", source.Id),
            ("@series", source.SeriesKey),
            ("@study", source.StudyKey),
            ("@patient", source.PatientKey),
            ("@at", RecordTime.Text(source.FiledAt)),
            ("@files", source.Files.Count),
            ("@bytes", source.Files.Sum(f => f.Bytes)),
            ("@part", source.BodyPart),
            ("@laterality", source.Laterality),
            ("@samples", source.Samples));
        if (added == 0)
            return false;
        foreach (var file in source.Files)
            change.Execute("INSERT INTO source_file (source_id, key, sha256, bytes) VALUES (@id, @key, @sha, @bytes)", ("@id", source.Id), ("@key", file.Key), ("@sha", file.Sha256), ("@bytes", file.Bytes));
        if (source.Replaces is not null)
            change.Execute("UPDATE source SET replaced_by = @id WHERE id = @old", ("@id", source.Id), ("@old", source.Replaces));
        events.Append(change, source.Replaces is null
            ? new("source.filed", source.Id, Detail: $"{source.Files.Count} images")
            : new("source.filed", source.Id, Code: Core.Findings.FindingCodes.SeriesGrew, Detail: $"{source.Files.Count} images; more of the series of source {source.Replaces[..12]} came in later"));
        return true;
    });

    /// <summary>The images of an expired source are there again; false when it had not expired.</summary>
    public bool Return(string id) => database.Write(change =>
    {
        if (change.Execute("UPDATE source SET expired_at = NULL, files_gone = 0 WHERE id = @id AND expired_at IS NOT NULL", ("@id", id)) == 0)
            return false;
        events.Append(change, new("source.returned", id, Detail: "its images were sent again"));
        return true;
    });

    public SourceEntry? Find(string id) => database.ReadOne($"SELECT {Columns} FROM source WHERE id = @id", Entry, ("@id", id));

    /// <summary>The source of a series that no later one replaces.</summary>
    public SourceEntry? Newest(string seriesKey) =>
        database.ReadOne($"SELECT {Columns} FROM source WHERE series_key = @series AND replaced_by IS NULL AND expired_at IS NULL", Entry, ("@series", seriesKey));

    public bool Holds(string seriesKey, string fileKey) => database.Read(
        "SELECT 1 FROM source_file f JOIN source s ON s.id = f.source_id WHERE s.series_key = @series AND f.key = @key AND s.expired_at IS NULL LIMIT 1", _ => true, ("@series", seriesKey), ("@key", fileKey)).Count > 0;

    /// <summary>Where a source stands in the list: what "before" takes.</summary>
    public static string PlaceOf(SourceEntry source) => RecordTime.Text(source.FiledAt) + source.Id;

    /// <summary>Newest first.</summary>
    public IReadOnlyList<SourceEntry> List(int most, string? before = null) => database.Read(
        $"SELECT {Columns} FROM source WHERE CAST(@before AS TEXT) IS NULL OR filed_at || id < @before ORDER BY filed_at || id DESC LIMIT @most", Entry, ("@before", before), ("@most", most));

    internal static SourceEntry Entry(System.Data.Common.DbDataReader row) => new(
        row.GetString(0),
        row.GetString(1),
        row.IsDBNull(2) ? null : row.GetString(2),
        row.IsDBNull(3) ? null : row.GetString(3),
        RecordTime.Parse(row.GetString(4)),
        row.IsDBNull(5) ? null : row.GetString(5),
        row.GetInt32(6),
        row.GetInt64(7),
        row.IsDBNull(8) ? null : row.GetString(8),
        row.IsDBNull(9) ? null : row.GetString(9),
        row.IsDBNull(10) ? null : row.GetInt64(10),
        row.IsDBNull(11) ? null : RecordTime.Parse(row.GetString(11)));
}
