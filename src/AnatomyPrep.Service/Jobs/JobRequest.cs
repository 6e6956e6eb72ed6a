using System.Data.Common;
using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Statements;
using AnatomyPrep.Service.Hosting;

namespace AnatomyPrep.Service.Jobs;

/// <summary>What is asked for. No word in it can become an option of a command or name a person by its form alone.</summary>
/// <param name="Anatomy">In trade terms, such as skull.</param>
/// <param name="Plan">Name of a preset.</param>
/// <param name="RequesterCode">A code the site gave.</param>
/// <param name="PatientKey">Pseudonym of the patient whose images they must be.</param>
/// <param name="SourceId">Null to wait for the patient's images.</param>
/// <param name="Profile">Name of a process profile.</param>
/// <param name="Scale">Model size over true size.</param>
/// <param name="RequestId">The request it is made for.</param>
public sealed record JobRequest(
    Purpose Purpose, string Anatomy, Side? Side, string Plan, string? RequesterCode, DateOnly? NeededBy, string? PatientKey, string? SourceId,
    string? Profile = null, double Scale = 1, string? RequestId = null)
{
    public const double SmallestScale = 0.05;
    public const double LargestScale = 20;

    private const int LongestWord = 60;
    private const string DayForm = "yyyy-MM-dd";

    /// <exception cref="PlanException">A value that is not allowed; the message says which are.</exception>
    public void Check(ServiceStart start)
    {
        if (!IsWords(Anatomy))
            throw Wrong("anatomy", "letters, digits, spaces and -, at most 60, such as skull");
        if (RequesterCode is not null && !IsWords(RequesterCode))
            throw Wrong("requesterCode", "letters, digits, spaces and -, at most 60");
        if (start.Plans.All(p => p.Name != Plan))
            throw Wrong("plan", string.Join(", ", start.Plans.Select(p => p.Name)));
        if (Profile is not null && start.Profiles.All(p => p.Name != Profile))
            throw Wrong("profile", string.Join(", ", start.Profiles.Select(p => p.Name)));
        if (!(Scale is >= SmallestScale and <= LargestScale))
            throw Wrong("scale", "0.05 to 20; 1 is life size");
        if (Scale != 1 && !start.Plans.First(p => p.Name == Plan).CanScale)
            throw Wrong("scale", "1 with this plan: its structures keep their places");
        if (PatientKey is null && SourceId is null)
            throw Wrong("sourceId", "a source, or a patientId to wait for");
        if (PatientKey is { } key && !(key.Length == 64 && key.All(char.IsAsciiHexDigitLower)))
            throw Wrong("patientKey", "a pseudonym of this site: 64 hex digits");
    }

    /// <summary>Higher runs earlier: what is needed sooner; without a date after a month's.</summary>
    public int Priority(DateOnly today) => 1000 - Math.Clamp(NeededBy is { } day ? day.DayNumber - today.DayNumber : 31, -100, 900);

    /// <summary>As the ledger keeps it; the patient's pseudonym stays out.</summary>
    internal RunRequest AsRunRequest() => new(Purpose, Anatomy, Scale, Side, RequesterCode, NeededBy);

    /// <summary>The arguments that make it, but for source and place.</summary>
    internal IEnumerable<string> Arguments()
    {
        yield return $"--plan={Plan}";
        yield return $"--purpose={Purpose.ToString().ToLowerInvariant()}";
        yield return $"--anatomy={Anatomy}";
        if (Side is { } side)
            yield return $"--side={side.ToString().ToLowerInvariant()}";
        if (RequesterCode is not null)
            yield return $"--requester={RequesterCode}";
        if (Profile is not null)
            yield return $"--profile={Profile}";
        if (Scale != 1)
            yield return string.Create(CultureInfo.InvariantCulture, $"--scale={Scale}");
    }

    /// <summary>The values of its columns, which are called alike in every table that holds one.</summary>
    internal (string Name, object? Value)[] Values() =>
    [
        ("@purpose", Purpose.ToString()),
        ("@anatomy", Anatomy),
        ("@side", Side?.ToString()),
        ("@scale", Scale),
        ("@plan", Plan),
        ("@profile", Profile),
        ("@requester", RequesterCode),
        ("@needed", NeededBy?.ToString(DayForm, CultureInfo.InvariantCulture)),
        ("@patient", PatientKey),
        ("@source", SourceId),
    ];

    /// <summary>Reads it from a row that has its columns.</summary>
    internal static JobRequest Of(DbDataReader row, string? requestId)
    {
        string? Text(string column) => row.GetOrdinal(column) is var at && row.IsDBNull(at) ? null : row.GetString(at);
        return new(
            Enum.Parse<Purpose>(Text("purpose")!),
            Text("anatomy")!,
            Text("side") is { } side ? Enum.Parse<Side>(side) : null,
            Text("plan")!,
            Text("requester"),
            Text("needed_by") is { } day ? DateOnly.ParseExact(day, DayForm, CultureInfo.InvariantCulture) : null,
            Text("patient_key"),
            Text("source_id"),
            Text("profile"),
            row.GetDouble(row.GetOrdinal("scale")),
            requestId);
    }

    private static bool IsWords(string text) =>
        text.Length is > 0 and <= LongestWord && char.IsAsciiLetterOrDigit(text[0]) && text.All(c => char.IsAsciiLetterOrDigit(c) || c is ' ' or '-');

    private static PlanException Wrong(string field, string allowed) => new("request", null, field, "not allowed", allowed);
}

public enum JobState
{
    /// <summary>No source yet.</summary>
    Waiting,
    Queued,
    Running,
    Done,
    Failed,
    Cancelled,
}

/// <summary>A job as the lists show it.</summary>
/// <param name="Attempt">Number of the latest attempt; each has its own folder, and only the latest may publish.</param>
/// <param name="Faults">Attempts that ended by a fault that can pass.</param>
/// <param name="Published">The attempt whose result counts.</param>
/// <param name="Holds">Of a finished job: every check held.</param>
/// <param name="Reason">Why it failed, in words for a person.</param>
/// <param name="Remedy">What to do about it.</param>
/// <param name="Version">Grows with every change.</param>
/// <param name="Stage">What the running attempt does now, and how much of the whole is done, by the number of steps.</param>
/// <param name="Node">Where it runs, or ran.</param>
/// <param name="ExitCode">Of the worker of a failed job, where it ended by itself.</param>
public sealed record JobEntry(
    string Id, JobState State, JobRequest Request, DateTimeOffset CreatedAt, string CreatedBy, int Attempt, int Faults, int? Published, bool? Holds, string? Reason,
    DateTimeOffset? HeartbeatAt, DateTimeOffset? EndedAt, bool CancelAsked, int Version,
    string? Remedy = null, string? Stage = null, double? Share = null, string? Node = null, DateTimeOffset? StartedAt = null, int? ExitCode = null);
