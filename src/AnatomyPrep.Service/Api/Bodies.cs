using AnatomyPrep.Records.Statements;
using AnatomyPrep.Service.Intake;
using AnatomyPrep.Service.Jobs;

namespace AnatomyPrep.Service.Api;

/// <summary>What is sent to make a job.</summary>
/// <param name="PatientId">Whose images they must be; turned into a pseudonym at once and kept nowhere.</param>
public sealed record NewJob(
    Purpose Purpose, string Anatomy, string Plan, Side? Side = null, string? RequesterCode = null, DateOnly? NeededBy = null, string? SourceId = null, string? PatientId = null);

public sealed record SignIn(string Name, string Password);

/// <param name="CsrfToken">To be sent as X-CSRF-Token with every request that changes something.</param>
public sealed record SessionAnswer(string Name, string Role, string CsrfToken);

public sealed record NewInvitation(string Role);

/// <param name="Link">Works once, for a day; whoever opens it chooses name and password.</param>
public sealed record InvitationAnswer(string Link);

/// <summary>The account that an invitation became.</summary>
public sealed record AccountMade(string Name);

/// <summary>An upload and what is there of it.</summary>
public sealed record UploadAnswer(string Id, IReadOnlyList<UploadedFile> Files);

/// <summary>A part of a list.</summary>
/// <param name="Next">Value of "before" (events: "after") for the next part; null at the end.</param>
public sealed record ListPart<T>(IReadOnlyList<T> Items, string? Next);

/// <summary>A job as the API shows it.</summary>
public sealed record JobView(
    string Id, JobState State, Purpose Purpose, string Anatomy, Side? Side, string Plan, string? RequesterCode, DateOnly? NeededBy, string? SourceId,
    DateTimeOffset CreatedAt, string CreatedBy, int Attempt, int Faults, bool? Holds, string? Reason, DateTimeOffset? HeartbeatAt, DateTimeOffset? EndedAt, bool CancelAsked)
{
    internal static JobView Of(JobEntry job) => new(
        job.Id, job.State, job.Request.Purpose, job.Request.Anatomy, job.Request.Side, job.Request.Plan, job.Request.RequesterCode, job.Request.NeededBy, job.Request.SourceId,
        job.CreatedAt, job.CreatedBy, job.Attempt, job.Faults, job.Holds, job.Reason, job.HeartbeatAt, job.EndedAt, job.CancelAsked);
}
