using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Service.Jobs;

/// <summary>What is asked for. No word in it can become an option of a command or name a person by its form alone.</summary>
/// <param name="Anatomy">In trade terms, such as skull.</param>
/// <param name="Plan">Name of a preset.</param>
/// <param name="RequesterCode">A code the site gave.</param>
/// <param name="PatientKey">Pseudonym of the patient whose images they must be.</param>
/// <param name="SourceId">Null to wait for the patient's images.</param>
public sealed record JobRequest(
    Purpose Purpose, string Anatomy, Side? Side, string Plan, string? RequesterCode, DateOnly? NeededBy, string? PatientKey, string? SourceId)
{
    private const int LongestWord = 60;

    /// <exception cref="PlanException">A value that is not allowed; the message says which are.</exception>
    public void Check(IReadOnlyList<string> plans)
    {
        if (!IsWords(Anatomy))
            throw Wrong("anatomy", "letters, digits, spaces and -, at most 60, such as skull");
        if (RequesterCode is not null && !IsWords(RequesterCode))
            throw Wrong("requesterCode", "letters, digits, spaces and -, at most 60");
        if (!plans.Contains(Plan, StringComparer.Ordinal))
            throw Wrong("plan", string.Join(", ", plans));
        if (PatientKey is null && SourceId is null)
            throw Wrong("sourceId", "a source, or a patientId to wait for");
    }

    /// <summary>Higher runs earlier: what is needed sooner; without a date after a month's.</summary>
    public int Priority(DateOnly today) => 1000 - Math.Clamp(NeededBy is { } day ? day.DayNumber - today.DayNumber : 31, -100, 900);

    /// <summary>As the ledger keeps it; the patient's pseudonym stays out.</summary>
    internal RunRequest AsRunRequest() => new(Purpose, Anatomy, 1, Side, RequesterCode, NeededBy);

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
    }

    private static bool IsWords(string text) =>
        text.Length is > 0 and <= LongestWord && char.IsAsciiLetterOrDigit(text[0]) && text.All(c => char.IsAsciiLetterOrDigit(c) || c is ' ' or '-');

    private static PlanException Wrong(string field, string allowed) => new("request", null, field, "not allowed", allowed);

    internal static string? Text(DateOnly? day) => day?.ToString("yyyy-MM-dd", CultureInfo.InvariantCulture);
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
/// <param name="Version">Grows with every change.</param>
public sealed record JobEntry(
    string Id, JobState State, JobRequest Request, DateTimeOffset CreatedAt, string CreatedBy, int Attempt, int Faults, int? Published, bool? Holds, string? Reason,
    DateTimeOffset? HeartbeatAt, DateTimeOffset? EndedAt, bool CancelAsked, int Version);
