using System.Net;
using System.Text.RegularExpressions;
using AnatomyPrep.Service.Accounts;
using Microsoft.AspNetCore.Authorization;
using Microsoft.AspNetCore.Authorization.Infrastructure;
using Microsoft.AspNetCore.Routing;
using Microsoft.Extensions.DependencyInjection;

namespace AnatomyPrep.Tests.Service.Api;

/// <summary>Every endpoint, every role: who may is let in, everybody else is refused, and the refusal is an event.</summary>
public sealed partial class RoleMatrixTests : IDisposable
{
    private const string T = Roles.Technician;
    private const string C = Roles.Coordinator;
    private const string Q = Roles.QualityOfficer;
    private const string A = Roles.Administrator;

    /// <summary>What is decided, written a second time: a change of one side only is noticed. An endpoint that is not here is tried by what it declares, which it must.</summary>
    private static readonly Dictionary<(string Method, string Pattern), string[]> s_expected = new()
    {
        [("GET", "/api/v1/jobs/")] = [T, C, Q, A],
        [("GET", "/api/v1/jobs/{id}")] = [T, C, Q, A],
        [("GET", "/api/v1/jobs/{id}/files")] = [T, C, Q, A],
        [("GET", "/api/v1/jobs/{id}/files/{**name}")] = [T, C, Q, A],
        [("POST", "/api/v1/jobs/")] = [T, C],
        [("POST", "/api/v1/jobs/{id}/cancel")] = [T, C],
        [("POST", "/api/v1/jobs/{id}/retry")] = [T, C],
        [("GET", "/api/v1/requests/")] = [T, C, Q, A],
        [("GET", "/api/v1/requests/{id}")] = [T, C, Q, A],
        [("POST", "/api/v1/requests/")] = [C],
        [("POST", "/api/v1/requests/csv")] = [C],
        [("POST", "/api/v1/requests/check")] = [C],
        [("GET", "/api/v1/verdicts")] = [T, C, Q, A],
        [("GET", "/api/v1/jobs/{id}/remarks")] = [T, C, Q, A],
        [("POST", "/api/v1/jobs/{id}/remarks")] = [T, C, Q],
        [("PUT", "/api/v1/requests/{id}")] = [C],
        [("POST", "/api/v1/requests/{id}/source")] = [T, C],
        [("POST", "/api/v1/requests/{id}/cancel")] = [C],
        [("POST", "/api/v1/requests/{id}/retry")] = [T, C],
        [("GET", "/api/v1/plans")] = [T, C, Q, A],
        [("GET", "/api/v1/plans/{name}")] = [T, C, Q, A],
        [("GET", "/api/v1/profiles")] = [T, C, Q, A],
        [("GET", "/api/v1/profiles/{name}")] = [T, C, Q, A],
        [("GET", "/api/v1/changes")] = [T, C, Q, A],
        [("GET", "/api/v1/sources")] = [T, C, Q, A],
        [("GET", "/api/v1/sources/{id}")] = [T, C, Q, A],
        [("GET", "/api/v1/sources/{id}/volume")] = [T, C, Q, A],
        [("GET", "/api/v1/sources/{id}/volume/samples")] = [T, C, Q, A],
        [("GET", "/api/v1/sources/{id}/volume/{axis}/{index:int}")] = [T, C, Q, A],
        [("GET", "/api/v1/viewing/plans/schema")] = [T, C, Q, A],
        [("GET", "/api/v1/viewing/plans/{name}")] = [T, C, Q, A],
        [("POST", "/api/v1/jobs/{id}/again")] = [T, C],
        [("GET", "/api/v1/jobs/{id}/plan")] = [T, C, Q, A],
        [("GET", "/api/v1/jobs/{id}/values/{what}")] = [T, C, Q, A],
        [("GET", "/api/v1/quarantine")] = [T, A],
        [("POST", "/api/v1/quarantine/{id}/admit")] = [A],
        [("DELETE", "/api/v1/quarantine/{id}")] = [A],
        [("POST", "/api/v1/uploads/")] = [T, C],
        [("GET", "/api/v1/uploads/{id}")] = [T, C],
        [("PUT", "/api/v1/uploads/{id}/files/{number:int}")] = [T, C],
        [("POST", "/api/v1/uploads/{id}/complete")] = [T, C],
        [("DELETE", "/api/v1/uploads/{id}")] = [T, C],
        [("GET", "/api/v1/events")] = [Q, A],
        [("GET", "/api/v1/tokens")] = [T, C, Q, A],
        [("POST", "/api/v1/tokens")] = [T, C, Q, A],
        [("DELETE", "/api/v1/tokens/{id}")] = [T, C, Q, A],
        [("GET", "/api/v1/uploads/{id}/outcome")] = [T, C],
        [("POST", "/api/v1/uploads/{id}/inspect")] = [T, C],
        [("POST", "/api/v1/uploads/{id}/check")] = [T, C],
        [("POST", "/api/v1/jobs/{id}/verify")] = [T, C, Q, A],
        [("POST", "/api/v1/jobs/{id}/replay")] = [T, Q],
        [("GET", "/api/v1/retention")] = [Q, A],
        [("GET", "/api/v1/archives/")] = [T, C],
        [("POST", "/api/v1/archives/{name}/query")] = [T, C],
        [("POST", "/api/v1/archives/{name}/pull")] = [T, C],
        [("POST", "/dicom-web/studies")] = [T, C],
        [("POST", "/dicom-web/studies/{study}")] = [T, C],
        [("GET", "/api/v1/messages")] = [A],
        [("POST", "/api/v1/messages/{id}/retry")] = [A],
        [("GET", "/api/v1/session")] = [T, C, Q, A],
        [("DELETE", "/api/v1/session")] = [T, C, Q, A],
        [("GET", "/api/v1/accounts")] = [A],
        [("POST", "/api/v1/accounts/{name}/disable")] = [A],
        [("POST", "/api/v1/invitations")] = [A],
        [("GET", "/api/v1/ledger/")] = [T, C, Q, A],
        [("GET", "/api/v1/ledger/me")] = [T, C, Q, A],
        [("GET", "/api/v1/ledger/people")] = [T, C, Q, A],
        [("GET", "/api/v1/ledger/people/waiting")] = [A],
        [("GET", "/api/v1/ledger/models")] = [T, C, Q, A],
        [("GET", "/api/v1/ledger/models/{name}/{revision:int}")] = [T, C, Q, A],
        [("GET", "/api/v1/ledger/head")] = [Q, A],
        [("GET", "/api/v1/ledger/events")] = [Q, A],
        [("GET", "/api/v1/ledger/events/{position:long}/proof")] = [Q, A],
        [("GET", "/api/v1/ledger/consistency")] = [Q, A],
        [("POST", "/api/v1/ledger/checks")] = [Q, A],
        [("GET", "/api/v1/ledger/questions/models")] = [Q, A],
        [("GET", "/api/v1/ledger/questions/recall")] = [Q, A],
        [("GET", "/api/v1/ledger/questions/acknowledged")] = [Q, A],
        [("GET", "/api/v1/ledger/questions/alone")] = [Q, A],
        [("GET", "/api/v1/ledger/questions/drift")] = [Q, A],
        [("GET", "/api/v1/ledger/questions/drift-by-software")] = [Q, A],
        [("GET", "/api/v1/ledger/questions/retention")] = [Q, A],
        [("GET", "/api/v1/ledger/questions/differences")] = [Q, A],
        [("GET", "/api/v1/ledger/questions/key")] = [Q, A],
        [("POST", "/api/v1/ledger/models/{name}/{revision:int}/acknowledge")] = [T, Q],
        [("POST", "/api/v1/ledger/models/{name}/{revision:int}/review")] = [T, Q],
        [("POST", "/api/v1/ledger/models/{name}/{revision:int}/release")] = [Q],
        [("POST", "/api/v1/ledger/models/{name}/{revision:int}/reject")] = [Q],
        [("POST", "/api/v1/ledger/models/{name}/{revision:int}/print")] = [T],
        [("POST", "/api/v1/ledger/models/{name}/{revision:int}/finish")] = [T],
        [("POST", "/api/v1/ledger/models/{name}/{revision:int}/inspect")] = [T, Q],
        [("POST", "/api/v1/ledger/models/{name}/{revision:int}/deliver")] = [C],
        [("POST", "/api/v1/ledger/models/{name}/{revision:int}/complain")] = [C, Q],
        [("POST", "/api/v1/ledger/models/{name}/{revision:int}/withdraw")] = [Q],
        [("POST", "/api/v1/ledger/models/{name}/{revision:int}/retain")] = [Q],
        [("POST", "/api/v1/ledger/models/{name}/{revision:int}/dispose")] = [Q],
        [("POST", "/api/v1/ledger/models/{name}/{revision:int}/revise")] = [T, C],
        [("POST", "/api/v1/ledger/models/{name}/{revision:int}/run")] = [T],
        [("POST", "/api/v1/ledger/recalls")] = [Q],
        [("POST", "/api/v1/ledger/corrections")] = [T, C, Q, A],
        [("POST", "/api/v1/ledger/redactions")] = [Q],
        [("POST", "/api/v1/ledger/bundles")] = [C, Q],
        [("POST", "/api/v1/ledger/clock")] = [A],
        [("POST", "/api/v1/ledger/me/key")] = [T, C, Q, A],
        [("POST", "/api/v1/ledger/me/key/change")] = [T, C, Q, A],
        [("POST", "/api/v1/ledger/people/{person}/admit")] = [A],
        [("POST", "/api/v1/ledger/people/{person}/change")] = [A],
        [("POST", "/api/v1/ledger/keys/{fingerprint}/revoke")] = [Q, A],
    };

    private static readonly HashSet<(string Method, string Pattern)> s_anonymous =
    [
        ("GET", "/api/v1/sign-in"), ("POST", "/api/v1/session"), ("GET", "/"), ("GET", "/invitation"), ("POST", "/invitation"), ("GET", "/health/live"), ("GET", "/health/ready"), ("GET", "/openapi/{documentName}.json"),
        ("GET", "/bench/{**rest}"), ("GET", "/board/{**rest}"), ("GET", "/proof/{**rest}"), ("GET", "/people/{**rest}"), ("GET", "/web/{**name}"),
    ];

    private readonly TestFolder _folder = new();

    public void Dispose() => _folder.Dispose();

    [Fact]
    public async Task Everybody_is_let_in_where_they_may_and_refused_elsewhere_with_an_event()
    {
        await using var service = await RunningService.StartAsync(_folder["data"], new { });
        var expected = Declared(service);
        s_expected.Should().OnlyContain(e => expected[e.Key].SequenceEqual(e.Value), "what is declared is what was decided");

        using var nobody = new ServiceClient(service.Address);
        foreach (var ((method, pattern), _) in expected)
        {
            (await Call(nobody, method, pattern)).Should().Be(HttpStatusCode.Unauthorized, "{0} {1} by nobody", method, pattern);
            Refusals(service).Should().Contain((pattern, null));
        }

        foreach (var role in Roles.All)
        {
            using var client = await ServiceClient.AsAsync(service, role);
            foreach (var ((method, pattern), allowed) in expected.OrderBy(e => e.Key == ("DELETE", "/api/v1/session")))
            {
                var status = await Call(client, method, pattern);
                if (allowed.Contains(role))
                {
                    status.Should().NotBe(HttpStatusCode.Forbidden, "{0} {1} by {2}", method, pattern, role).And.NotBe(HttpStatusCode.Unauthorized, "{0} {1} by {2}", method, pattern, role);
                    ((int)status).Should().BeLessThan(500, "{0} {1} by {2}", method, pattern, role);
                }
                else
                {
                    status.Should().Be(HttpStatusCode.Forbidden, "{0} {1} by {2}", method, pattern, role);
                    Refusals(service).Should().Contain((pattern, role));
                }
            }
        }
    }

    [Fact]
    public async Task What_changes_something_needs_the_sessions_token()
    {
        await using var service = await RunningService.StartAsync(_folder["data"], new { });
        using var client = await ServiceClient.AsAsync(service, A);
        var token = client.CsrfToken;
        foreach (var wrong in new[] { null, "", "x", token![..^1] + "_" })
        {
            client.CsrfToken = wrong;
            (await client.SendAsync(HttpMethod.Post, "/api/v1/invitations", new { role = T })).StatusCode.Should().Be(HttpStatusCode.Unauthorized);
        }

        client.CsrfToken = token;
        (await client.SendAsync(HttpMethod.Post, "/api/v1/invitations", new { role = T })).StatusCode.Should().Be(HttpStatusCode.OK);
    }

    /// <summary>The roles that every endpoint lets in; all others must be known to be open to anybody.</summary>
    private static Dictionary<(string Method, string Pattern), string[]> Declared(RunningService service)
    {
        var declared = new Dictionary<(string, string), string[]>();
        foreach (var endpoint in service.Parts.GetRequiredService<EndpointDataSource>().Endpoints.OfType<RouteEndpoint>())
            foreach (var method in endpoint.Metadata.GetMetadata<HttpMethodMetadata>()?.HttpMethods ?? ["GET"])
            {
                var key = (method, "/" + endpoint.RoutePattern.RawText!.TrimStart('/'));
                if (endpoint.Metadata.GetMetadata<IAllowAnonymous>() is not null)
                {
                    IsOpen(key.method, key.Item2).Should().BeTrue("{0} is open to anybody and not known to be", key);
                    continue;
                }

                var roles = endpoint.Metadata.OfType<AuthorizationPolicy>().SelectMany(p => p.Requirements).OfType<RolesAuthorizationRequirement>().Select(r => r.AllowedRoles.ToArray()).ToArray();
                roles.Should().NotBeEmpty("{0} declares who may", key);
                declared.Add(key, [.. Roles.All.Where(role => roles.All(r => r.Contains(role)))]);
            }

        return declared;
    }

    /// <summary>Files of the page are open: they are the same for everybody and hold nothing of anybody.</summary>
    private static bool IsOpen(string method, string pattern) => s_anonymous.Contains((method, pattern)) || (method is "GET" or "HEAD" && !pattern.StartsWith("/api/", StringComparison.Ordinal));

    private static List<(string? Pattern, string? Actor)> Refusals(RunningService service) =>
        [.. service.Events.After(0, 10_000).Where(e => e.Event.Kind == "access.refused").Select(e => ("/" + e.Event.Subject!.TrimStart('/'), e.Event.Actor))];

    [GeneratedRegex(@"\{[^}]+\}")]
    private static partial Regex Place();

    private static async Task<HttpStatusCode> Call(ServiceClient client, string method, string pattern)
    {
        var path = Place().Replace(pattern, place => place.Value.Contains(":int", StringComparison.Ordinal) || place.Value.Contains(":long", StringComparison.Ordinal) ? place.Value.Contains("revision", StringComparison.Ordinal) ? "1" : "0" : place.Value == "{axis}" ? "slice" : "none");
        return await client.StatusAsync(new HttpMethod(method), path, method is "POST" or "PUT" && !pattern.Contains("/files/", StringComparison.Ordinal) ? new { } : null);
    }
}
