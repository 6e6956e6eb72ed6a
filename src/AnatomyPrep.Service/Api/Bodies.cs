using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Statements;
using AnatomyPrep.Service.Hosting;
using AnatomyPrep.Service.Intake;
using AnatomyPrep.Service.Jobs;
using AnatomyPrep.Service.Requests;

namespace AnatomyPrep.Service.Api;

/// <summary>What is sent to make a job.</summary>
/// <param name="PatientId">Whose images they must be; turned into a pseudonym at once and kept nowhere.</param>
public sealed record NewJob(
    Purpose Purpose, string Anatomy, string Plan, Side? Side = null, string? RequesterCode = null, DateOnly? NeededBy = null, string? SourceId = null, string? PatientId = null,
    string? Profile = null, double Scale = 1);

public sealed record SignIn(string Name, string Password);

/// <param name="CsrfToken">To be sent as X-CSRF-Token with every request that changes something.</param>
public sealed record SessionAnswer(string Name, string Role, string CsrfToken);

public sealed record NewInvitation(string Role);

/// <param name="Name">What it is for.</param>
public sealed record AskedToken(string Name, int Days = 30);

/// <summary>What became of an upload that was handed in.</summary>
/// <param name="Sorted">All its files were looked at.</param>
/// <param name="Series">Pseudonyms of the series its images belong to; each becomes a source once nothing more comes.</param>
/// <param name="Sources">Their sources, as far as they are filed.</param>
/// <param name="Refused">Codes and numbers of files that were not taken.</param>
public sealed record UploadOutcome(bool Sorted, IReadOnlyList<string> Series, IReadOnlyList<string> Sources, IReadOnlyList<string> Refused);

/// <summary>What a command said that was run here.</summary>
/// <param name="ExitCode">As on the command line.</param>
/// <param name="Output">Its JSON; with json=false, its lines.</param>
/// <param name="Messages">What it said to people.</param>
public sealed record CommandAnswer(int ExitCode, string Output, string Messages);

/// <param name="Link">Works once, for a day; whoever opens it chooses name and password.</param>
public sealed record InvitationAnswer(string Link);

/// <summary>How people may sign in beside name and password.</summary>
/// <param name="External">Address that leads to the organisation's sign-in; null where there is none.</param>
public sealed record SignInWays(string? External);

/// <summary>The account that an invitation became.</summary>
public sealed record AccountMade(string Name);

/// <summary>An upload and what is there of it.</summary>
public sealed record UploadAnswer(string Id, IReadOnlyList<UploadedFile> Files);

/// <summary>A part of a list.</summary>
/// <param name="Next">Value of "before" (events: "after") for the next part; null at the end.</param>
public sealed record ListPart<T>(IReadOnlyList<T> Items, string? Next);

/// <summary>How far a running job is.</summary>
/// <param name="Stage">What it does now.</param>
/// <param name="Share">Of the whole, by the number of steps: 0 to 1.</param>
public sealed record ProgressView(string Stage, double Share);

/// <summary>A job as the API shows it.</summary>
/// <param name="Reason">Why it failed, or will be tried again.</param>
/// <param name="Remedy">What to do about it.</param>
/// <param name="Holds">Of a finished job: every check held.</param>
/// <param name="ExitCode">Of a failed job whose worker ended by itself: as on the command line.</param>
/// <param name="Artifacts">Files of a finished job.</param>
public sealed record JobView(
    string Id, JobState State, Purpose Purpose, string Anatomy, Side? Side, double Scale, string Plan, string? Profile, string? RequesterCode, DateOnly? NeededBy, string? SourceId, string? RequestId,
    DateTimeOffset CreatedAt, string CreatedBy, int Attempt, int Faults, ProgressView? Progress, bool? Holds, string? Reason, string? Remedy,
    DateTimeOffset? StartedAt, DateTimeOffset? HeartbeatAt, DateTimeOffset? EndedAt, bool CancelAsked, int? ExitCode, IReadOnlyList<Artifact> Artifacts)
{
    internal static JobView Of(JobEntry job, DataFolder folder) => new(
        job.Id, job.State, job.Request.Purpose, job.Request.Anatomy, job.Request.Side, job.Request.Scale, job.Request.Plan, job.Request.Profile, job.Request.RequesterCode, job.Request.NeededBy,
        job.Request.SourceId, job.Request.RequestId, job.CreatedAt, job.CreatedBy, job.Attempt, job.Faults,
        job is { State: JobState.Running, Stage: { } stage } ? new(stage, job.Share ?? 0) : null, job.Holds, job.Reason, job.Remedy,
        job.StartedAt, job.HeartbeatAt, job.EndedAt, job.CancelAsked, job.ExitCode, Jobs.Artifacts.Of(job, folder));
}

/// <summary>A request as the API shows it.</summary>
/// <param name="PatientKey">Pseudonym of the patient.</param>
/// <param name="Findings">What the headers of the source say against it (stop), or do not say (caution).</param>
/// <param name="Candidates">Sources to choose from, where several fit.</param>
/// <param name="JobId">What makes it, once it has a source.</param>
public sealed record RequestView(
    string Id, RequestState State, Purpose Purpose, string Anatomy, Side? Side, double Scale, string Plan, string? Profile, string? RequesterCode, DateOnly? NeededBy, string? Note,
    string? PatientKey, string? SourceId, string? JobId, IReadOnlyList<Finding> Findings, IReadOnlyList<string> Candidates, string? Reason, string? Remedy, DateTimeOffset CreatedAt, string CreatedBy)
{
    internal static RequestView Of(RequestEntry r) => new(
        r.Id, r.State, r.Request.Job.Purpose, r.Request.Job.Anatomy, r.Request.Job.Side, r.Request.Job.Scale, r.Request.Job.Plan, r.Request.Job.Profile, r.Request.Job.RequesterCode, r.Request.Job.NeededBy,
        r.Request.Note, r.Request.Job.PatientKey, r.Request.Job.SourceId, r.JobId, r.Findings, r.Candidates, r.Reason, r.Remedy, r.CreatedAt, r.CreatedBy);
}

/// <summary>What is wrong with a request that was not sent yet.</summary>
/// <param name="Field">The first value that is not allowed; null when all are.</param>
/// <param name="Findings">Of each source that could be meant against the request.</param>
public sealed record RequestCheck(string? Field, string? Message, IReadOnlyList<SourceFindings> Findings);

/// <summary>A plan or process profile in a list.</summary>
public sealed record CatalogueName(string Name, string Description, bool CanScale);
