using System.Net;
using System.Net.Http.Json;
using System.Text.Json;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Service.Accounts;

namespace AnatomyPrep.Tests.Service.Api;

/// <summary>The API as a client sees it: jobs once, lists in parts, errors that say what to do, nothing reachable that is not offered.</summary>
public sealed class ApiTests : IDisposable
{
    // No job is started, so that a test sees the queue as it left it.
    private static readonly object s_still = new { intake = new { quietSeconds = 0.3 }, storage = new { leastFreeMegabytes = int.MaxValue } };

    private readonly TestFolder _folder = new();

    public void Dispose() => _folder.Dispose();

    [Fact]
    public async Task A_job_is_made_once_for_one_key_and_its_tag_changes_with_it()
    {
        await using var service = await RunningService.StartAsync(_folder["data"], s_still);
        using var client = await ServiceClient.AsAsync(service, Roles.Coordinator);
        var asked = new { purpose = "planning", anatomy = "skull", plan = "bone", side = "left", patientId = "INVENTED-77", neededBy = "2031-05-06" };
        using var first = await client.SendAsync(HttpMethod.Post, "/api/v1/jobs/", asked, ("Idempotency-Key", "k1"));
        first.StatusCode.Should().Be(HttpStatusCode.Created);
        using var again = await client.SendAsync(HttpMethod.Post, "/api/v1/jobs/", asked, ("Idempotency-Key", "k1"));
        again.Headers.Location.Should().Be(first.Headers.Location);
        (await client.ReadAsync("/api/v1/jobs/")).GetProperty("items").GetArrayLength().Should().Be(1);

        var path = first.Headers.Location!.ToString();
        var tag = first.Headers.ETag!.ToString();
        using var same = await client.SendAsync(HttpMethod.Get, path, null, ("If-None-Match", tag));
        same.StatusCode.Should().Be(HttpStatusCode.NotModified);
        (await client.ReadAsync(path)).ToString().Should().NotContain("INVENTED-77").And.Contain("\"waiting\"").And.Contain("2031-05-06");
        using var stale = await client.SendAsync(HttpMethod.Post, $"{path}/cancel", null, ("If-Match", "\"99\""));
        stale.StatusCode.Should().Be(HttpStatusCode.PreconditionFailed);
        using var cancelled = await client.SendAsync(HttpMethod.Post, $"{path}/cancel", null, ("If-Match", tag));
        cancelled.StatusCode.Should().Be(HttpStatusCode.OK);
        cancelled.Headers.ETag!.ToString().Should().NotBe(tag);
        using var twice = await client.SendAsync(HttpMethod.Post, $"{path}/cancel");
        await ShouldBeProblem(twice, HttpStatusCode.Conflict);
    }

    [Theory]
    [InlineData("""{ "purpose": "education", "anatomy": "--out=/tmp/x", "plan": "bone", "patientId": "X" }""", HttpStatusCode.BadRequest)]
    [InlineData("""{ "purpose": "education", "anatomy": "a;b", "plan": "bone", "patientId": "X" }""", HttpStatusCode.BadRequest)]
    [InlineData("""{ "purpose": "education", "anatomy": "skull", "plan": "../../etc/passwd", "patientId": "X" }""", HttpStatusCode.BadRequest)]
    [InlineData("""{ "purpose": "education", "anatomy": "skull", "plan": "bone" }""", HttpStatusCode.BadRequest)]
    [InlineData("""{ }""", HttpStatusCode.BadRequest)]
    [InlineData("""{ "purpose": 7, "anatomy": "skull", "plan": "bone", "patientId": "X" }""", HttpStatusCode.BadRequest)]
    [InlineData("""{ "purpose": "education", "anatomy": null, "plan": "bone", "patientId": "X" }""", HttpStatusCode.BadRequest)]
    [InlineData("""{ "purpose": "curing", "anatomy": "skull", "plan": "bone", "patientId": "X" }""", HttpStatusCode.BadRequest)]
    [InlineData("""{ "purpose": "education", "anatomy": "skull", "plan": "bone", "sourceId": "none" }""", HttpStatusCode.UnprocessableEntity)]
    public async Task What_is_wrong_is_answered_with_a_problem_that_says_so(string body, HttpStatusCode expected)
    {
        await using var service = await RunningService.StartAsync(_folder["data"], s_still);
        using var client = await ServiceClient.AsAsync(service, Roles.Technician);
        using var http = await client.SendAsync(HttpMethod.Post, "/api/v1/jobs/", JsonDocument.Parse(body).RootElement);
        await ShouldBeProblem(http, expected);
        service.Jobs.List(10).Should().BeEmpty();
    }

    [Fact]
    public async Task A_list_comes_in_parts_that_make_the_whole()
    {
        await using var service = await RunningService.StartAsync(_folder["data"], s_still);
        using var client = await ServiceClient.AsAsync(service, Roles.Technician);
        for (var k = 0; k < 7; k++)
            (await client.SendAsync(HttpMethod.Post, "/api/v1/jobs/", new { purpose = "education", anatomy = $"part {k}", plan = "bone", patientId = "X" })).StatusCode.Should().Be(HttpStatusCode.Created);
        var seen = new List<string>();
        for (string? next = ""; next is not null;)
        {
            var part = await client.ReadAsync($"/api/v1/jobs/?limit=3{(next.Length > 0 ? $"&before={next}" : "")}");
            seen.AddRange(part.GetProperty("items").EnumerateArray().Select(j => j.GetProperty("anatomy").GetString()!));
            next = part.GetProperty("next").GetString();
        }

        seen.Should().BeEquivalentTo(Enumerable.Range(0, 7).Select(k => $"part {k}"));
        using var wide = await client.SendAsync(HttpMethod.Get, "/api/v1/jobs/?limit=100000");
        await ShouldBeProblem(wide, HttpStatusCode.BadRequest);
    }

    [Fact]
    public async Task Only_files_of_a_finished_job_are_given_out()
    {
        await using var service = await RunningService.StartAsync(_folder["data"], s_still);
        using var client = await ServiceClient.AsAsync(service, Roles.QualityOfficer);
        service.Bring(Phantom.Write(Phantom.Ball(), _folder["ct"]));
        var source = await service.Until(() => service.Sources.List(1) is [var found] ? found : null, "no source");
        var id = service.Jobs.Create(new(AnatomyPrep.Records.Statements.Purpose.Education, "ball", null, "bone", null, null, null, source.Id), "tester", null).Id;
        using var early = await client.SendAsync(HttpMethod.Get, $"/api/v1/jobs/{id}/files");
        await ShouldBeProblem(early, HttpStatusCode.NotFound);
        service.Jobs.Begin(id);
        var model = Path.Combine(service.Data, "jobs", id, "1", "model", "sections");
        Directory.CreateDirectory(model);
        File.WriteAllText(Path.Combine(model, "a.png"), "a picture");
        service.Jobs.Publish(id, 1, holds: true);
        (await client.ReadAsync($"/api/v1/jobs/{id}/files")).GetProperty("items").EnumerateArray().Select(f => f.GetProperty("name").GetString()).Should().Equal("sections/a.png");
        using var file = await client.SendAsync(HttpMethod.Get, $"/api/v1/jobs/{id}/files/sections/a.png");
        (await file.Content.ReadAsStringAsync()).Should().Be("a picture");
        file.Content.Headers.ContentDisposition!.DispositionType.Should().Be("attachment");
        foreach (var name in new[] { "../../../service.db", "..%2f..%2f..%2fservice.db", "%2e%2e/%2e%2e/%2e%2e/service.db", "/etc/passwd", "%2fetc%2fpasswd", "sections", "sections/../sections/a.png%00", "sections\\a.png", "." })
        {
            using var answer = await client.SendAsync(HttpMethod.Get, $"/api/v1/jobs/{id}/files/{name}");
            answer.StatusCode.Should().BeOneOf(HttpStatusCode.NotFound, HttpStatusCode.BadRequest, HttpStatusCode.Forbidden, HttpStatusCode.OK);
            var body = await answer.Content.ReadAsStringAsync();
            body.Should().NotContain("SQLite").And.NotContain("root:");
        }
    }

    [Fact]
    public async Task Every_answer_carries_the_headers_that_keep_a_browser_safe()
    {
        await using var service = await RunningService.StartAsync(_folder["data"], s_still);
        using var nobody = new ServiceClient(service.Address);
        foreach (var path in new[] { "/", "/nothing", "/api/v1/jobs/", "/openapi/v1.json", "/health/ready", "/invitation?token=x" })
        {
            using var answer = await nobody.SendAsync(HttpMethod.Get, path);
            answer.Headers.GetValues("Content-Security-Policy").Single().Should().StartWith("default-src 'none'", "of {0}", path);
            answer.Headers.GetValues("X-Content-Type-Options").Should().Equal("nosniff");
            answer.Headers.GetValues("X-Frame-Options").Should().Equal("DENY");
            answer.Headers.GetValues("Referrer-Policy").Should().Equal("no-referrer");
            answer.Headers.Contains("Server").Should().BeFalse();
        }

        using var page = await nobody.SendAsync(HttpMethod.Get, "/");
        (await page.Content.ReadAsStringAsync()).Should().Contain("education and planning only");
        using var form = await nobody.SendAsync(HttpMethod.Get, "/invitation?token=%22%3E%3Cscript%3E");
        (await form.Content.ReadAsStringAsync()).Should().NotContain("<script>");
    }

    [Fact]
    public async Task The_document_names_every_address_of_the_API()
    {
        await using var service = await RunningService.StartAsync(_folder["data"], s_still);
        using var nobody = new ServiceClient(service.Address);
        var paths = (await nobody.ReadAsync("/openapi/v1.json")).GetProperty("paths").EnumerateObject().Select(p => p.Name).ToArray();
        paths.Should().Contain("/api/v1/jobs/{id}/retry").And.Contain("/api/v1/session").And.Contain("/api/v1/events").And.OnlyContain(p => p.StartsWith("/api/v1/"));
    }

    [Fact]
    public async Task A_body_beyond_the_limit_is_refused()
    {
        await using var service = await RunningService.StartAsync(_folder["data"], s_still);
        using var client = await ServiceClient.AsAsync(service, Roles.Technician);
        using var answer = await client.SendAsync(HttpMethod.Post, "/api/v1/jobs/", new { purpose = "education", anatomy = new string('a', 2 << 20), plan = "bone", patientId = "X" });
        answer.StatusCode.Should().Be(HttpStatusCode.RequestEntityTooLarge);
    }

    [Fact]
    public async Task What_was_set_aside_can_be_let_in_or_discarded_by_an_administrator()
    {
        var files = Phantom.Write(Phantom.Ball(), _folder["ct"]);
        await using var service = await RunningService.StartAsync(_folder["data"], RunningService.Receiver("SCANNER1"));
        using var client = await ServiceClient.AsAsync(service, Roles.Administrator);
        AnatomyPrep.Tests.Service.Receiving.Scanner.Send(service.ReceiverPort, "ELSEWHERE", files).Should().Be(0);
        var aside = await service.Until(() => service.Quarantine.Undecided() is [var found] ? found : null, "nothing set aside");
        (await client.ReadAsync("/api/v1/quarantine")).GetProperty("items")[0].GetProperty("code").GetString().Should().Be(FindingCodes.CallingTitleUnknown);
        (await client.SendAsync(HttpMethod.Post, $"/api/v1/quarantine/{aside.Id}/admit")).StatusCode.Should().Be(HttpStatusCode.NoContent);
        (await service.Until(() => service.Sources.List(1) is [var source] ? source : null, "no source")).Files.Should().Be(files.Count);
        (await client.SendAsync(HttpMethod.Delete, $"/api/v1/quarantine/{aside.Id}")).StatusCode.Should().Be(HttpStatusCode.NotFound);
        service.Events.After(0, 100).Should().Contain(e => e.Event.Kind == "quarantine.admitted" && e.Event.Actor == Roles.Administrator);
    }

    private static async Task ShouldBeProblem(HttpResponseMessage answer, HttpStatusCode expected)
    {
        answer.StatusCode.Should().Be(expected);
        answer.Content.Headers.ContentType!.MediaType.Should().Be("application/problem+json");
        (await answer.Content.ReadFromJsonAsync<JsonElement>()).GetProperty("title").GetString().Should().NotBeNullOrEmpty();
    }
}
