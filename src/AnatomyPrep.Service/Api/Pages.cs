using System.Net;
using System.Text;
using AnatomyPrep.Service.Hosting;
using AnatomyPrep.Service.Jobs;
using Microsoft.AspNetCore.Http;

namespace AnatomyPrep.Service.Api;

/// <summary>The plain pages: what this is, the jobs for who is signed in, and the form behind an invitation. No scripts.</summary>
internal static class Pages
{
    private const int MostJobs = 50;

    public static IResult Index(HttpContext context, ServiceStart start, JobStore jobs)
    {
        var body = new StringBuilder();
        body.Append(Invariant($"<p><strong>{Text(start.SafetyNotice)}</strong></p>"));
        body.Append("<p><a href=\"/openapi/v1.json\">API</a> · <a href=\"/health/ready\">state</a></p>");
        if (context.User.Identity?.IsAuthenticated == true)
        {
            body.Append("<h2>Jobs</h2><table><tr><th>job</th><th>state</th><th>anatomy</th><th>plan</th><th>reason</th></tr>");
            foreach (var job in jobs.List(MostJobs))
                body.Append(Invariant($"<tr><td><a href=\"/api/v1/jobs/{Text(job.Id)}\">{Text(job.Id)}</a></td><td>{job.State}</td><td>{Text(job.Request.Anatomy)}</td><td>{Text(job.Request.Plan)}</td><td>{Text(job.Reason ?? "")}</td></tr>"));
            body.Append("</table>");
        }

        return Page("AnatomyPrep", body.ToString());
    }

    public static IResult Invitation(string token) => Page("New account", Invariant($"""
        <form method="post" action="/invitation">
        <input type="hidden" name="token" value="{Text(token)}">
        <p><label>Name <input name="name" autocomplete="username" required maxlength="40"></label></p>
        <p><label>Password, 12 characters or more <input name="password" type="password" autocomplete="new-password" required minlength="12" maxlength="256"></label></p>
        <p><button>Make the account</button></p>
        </form>
        """));

    public static IResult Made(string name) => Page("Account made", $"<p>The account {Text(name)} is there. Sign in through the API: POST /api/v1/session.</p>");

    private static IResult Page(string title, string body) => Results.Content(
        $"<!DOCTYPE html><html lang=\"en\"><meta charset=\"utf-8\"><title>{Text(title)}</title><style>body{{font-family:sans-serif;margin:2em}}td,th{{text-align:left;padding:0 1em 0 0}}</style><h1>{Text(title)}</h1>{body}</html>",
        "text/html; charset=utf-8");

    private static string Text(string text) => WebUtility.HtmlEncode(text);

    private static string Invariant(FormattableString text) => FormattableString.Invariant(text);
}
