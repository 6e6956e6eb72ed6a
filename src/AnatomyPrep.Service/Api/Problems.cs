using System.Data.Common;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Ledgers;
using Microsoft.AspNetCore.Diagnostics;
using Microsoft.AspNetCore.Http;
using Microsoft.AspNetCore.Mvc;
using Microsoft.Extensions.Logging;

namespace AnatomyPrep.Service.Api;

/// <summary>The one place where an exception becomes an answer: problem+json (RFC 9457) with what is wrong and what to do.</summary>
internal sealed class Problems(IProblemDetailsService writer, ILogger<Problems> log) : IExceptionHandler
{
    public async ValueTask<bool> TryHandleAsync(HttpContext httpContext, Exception exception, CancellationToken cancellationToken)
    {
        var problem = exception switch
        {
            PlanException e => Problem(StatusCodes.Status400BadRequest, "A value is not allowed", e.Message, e.Parameter),
            BadInputException e => Problem(StatusCodes.Status422UnprocessableEntity, "The input cannot be used", e.Message, e.Field),
            CheckFailedException e => Problem(StatusCodes.Status409Conflict, "A check does not hold", e.Message, e.Check),
            BadHttpRequestException e => Problem(e.StatusCode, "The request cannot be read", "Its body, a parameter or its size is not what this address takes.", null),
            LedgerRefusedException e => Refused(e),
            DbException => Problem(StatusCodes.Status503ServiceUnavailable, "The database does not answer", "Nothing was changed. Try again; if it stays so, see /health/ready and the log of the service.", null),
            IOException => Problem(StatusCodes.Status507InsufficientStorage, "The disk does not take it", "Look at the free space of the data folder, then try again.", null),
            _ => Problem(StatusCodes.Status500InternalServerError, "Internal error", "The log of the service has the details.", null),
        };
        if (problem.Status == StatusCodes.Status500InternalServerError)
            log.LogError(exception, "Request {Trace} failed", httpContext.TraceIdentifier);
        if (exception is DbException)
            log.LogError("Request {Trace}: the database does not answer: {Kind}", httpContext.TraceIdentifier, exception.GetType().Name);
        httpContext.Response.StatusCode = problem.Status!.Value;
        return await writer.TryWriteAsync(new() { HttpContext = httpContext, ProblemDetails = problem }).ConfigureAwait(false);
    }

    /// <summary>The code of the refusal goes along; docs/formats/ledger.md says what each means.</summary>
    private static ProblemDetails Refused(LedgerRefusedException e)
    {
        var status = e.Code switch
        {
            Refusals.PassphraseWrong or Refusals.RoleNotAllowed or Refusals.PersonUnknown or Refusals.KeyRevoked => StatusCodes.Status403Forbidden,
            Refusals.PassphraseLocked => StatusCodes.Status429TooManyRequests,
            Refusals.EventForm => StatusCodes.Status400BadRequest,
            Refusals.DiskFull or Refusals.DatabaseReadOnly => StatusCodes.Status507InsufficientStorage,
            Refusals.DatabaseBusy or Refusals.DatabaseDamaged or Refusals.DatabaseUnreachable or Refusals.ClockSetBack => StatusCodes.Status503ServiceUnavailable,
            _ => StatusCodes.Status409Conflict,
        };
        var problem = Problem(status, "The ledger refuses it", e.Message, null);
        problem.Extensions["code"] = e.Code;
        return problem;
    }

    private static ProblemDetails Problem(int status, string title, string detail, string? field)
    {
        var problem = new ProblemDetails { Status = status, Title = title, Detail = detail };
        if (field is not null)
            problem.Extensions["field"] = field;
        return problem;
    }
}
