using AnatomyPrep.Core.Findings;
using AnatomyPrep.Service.Hosting;
using AnatomyPrep.Service.Jobs;

namespace AnatomyPrep.Service.Requests;

/// <summary>What somebody wants a model for; its source may still be missing.</summary>
/// <param name="Job">What is to be made, and of whom.</param>
/// <param name="Note">For people here: it goes into no record, message, event or log.</param>
public sealed record ModelRequest(JobRequest Job, string? Note)
{
    public const int LongestNote = 500;

    /// <exception cref="PlanException">A value that is not allowed; the message says which are.</exception>
    public void Check(ServiceStart start)
    {
        Job.Check(start);
        if (Note is { Length: > LongestNote } || Note?.Any(c => char.IsControl(c) && c != '\n') == true)
            throw new PlanException("request", null, "note", "not allowed", "at most 500 characters of text");
    }
}

/// <summary>Where a request stands.</summary>
public enum RequestState
{
    /// <summary>No image of the patient is here.</summary>
    Waiting,

    /// <summary>Several sources fit: a person must say which.</summary>
    Choose,

    /// <summary>The source contradicts the request.</summary>
    Stopped,

    Queued,
    Running,
    Done,
    Failed,
    Cancelled,
}

/// <summary>A request as the lists show it.</summary>
/// <param name="JobId">What makes it, once it has a source.</param>
/// <param name="Findings">Of source against request.</param>
/// <param name="Candidates">Sources to choose from.</param>
/// <param name="Version">Changes with every change of the request or its job.</param>
public sealed record RequestEntry(
    string Id, RequestState State, ModelRequest Request, string? JobId, IReadOnlyList<Finding> Findings, IReadOnlyList<string> Candidates, DateTimeOffset CreatedAt, string CreatedBy, string Version, string? Reason, string? Remedy);

/// <summary>What a source says against a request.</summary>
public sealed record SourceFindings(string SourceId, IReadOnlyList<Finding> Findings);
