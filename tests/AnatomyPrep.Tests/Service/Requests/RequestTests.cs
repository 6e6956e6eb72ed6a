using System.Net;
using System.Net.Http.Headers;
using System.Net.Http.Json;
using System.Text;
using System.Text.Json;
using AnatomyPrep.Core.Dicom;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Phantoms.Dicom;
using AnatomyPrep.Phantoms.Series;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Service.Ledgers;
using AnatomyPrep.Service.Requests;
using AnatomyPrep.Service.Storage;
using Microsoft.Extensions.DependencyInjection;

namespace AnatomyPrep.Tests.Service.Requests;

/// <summary>A request finds its source, or says why not; with a source it has one job, whose state is its own.</summary>
public sealed class RequestTests : IDisposable
{
    /// <summary>Jobs are made but none begins: the disk counts as full.</summary>
    private static readonly object s_still = new { intake = new { quietSeconds = 0.3 }, storage = new { leastFreeMegabytes = int.MaxValue } };

    private readonly TestFolder _folder = new();

    public void Dispose() => _folder.Dispose();

    [Fact]
    public async Task A_request_with_its_source_becomes_a_model_with_its_files()
    {
        await using var service = await RunningService.StartAsync(_folder["data"], new { intake = new { quietSeconds = 0.3 } });
        using var client = await ServiceClient.AsAsync(service, Roles.Coordinator);
        using var nothing = await client.SendAsync(HttpMethod.Post, "/api/v1/requests/", new { purpose = "education", anatomy = "skull", plan = "bone", scale = 0.5, profile = "vat", patientId = "INVENTED-0001", note = "for the shelf", neededBy = "2030-01-01" });
        nothing.StatusCode.Should().Be(HttpStatusCode.Created);
        var request = await nothing.Content.ReadFromJsonAsync<JsonElement>();
        request.GetProperty("state").GetString().Should().Be("waiting");
        request.GetProperty("remedy").GetString().Should().NotBeNullOrEmpty();
        var address = nothing.Headers.Location!.ToString();

        service.Bring(Phantom.Write(Phantom.Bones(), _folder["ct"]));
        var done = await service.Until(() => service.Requests.Find(request.GetProperty("id").GetString()!) is { State: RequestState.Done or RequestState.Failed } r ? r : null, "not done");
        done.State.Should().Be(RequestState.Done, done.Reason);
        var view = await client.ReadAsync(address);
        view.GetProperty("findings").EnumerateArray().Should().BeEmpty("the headers say HEAD, and no side was asked for");
        var job = await client.ReadAsync($"/api/v1/jobs/{view.GetProperty("jobId").GetString()}");
        job.GetProperty("requestId").GetString().Should().Be(view.GetProperty("id").GetString());
        var artifacts = job.GetProperty("artifacts").EnumerateArray().ToArray();
        artifacts.Select(a => a.GetProperty("name").GetString()).Should().Contain(["model.glb", "model.stl", "preview.png", "run.json", "record.json", "report.pdf"]);
        foreach (var artifact in artifacts)
        {
            using var file = await client.SendAsync(HttpMethod.Get, artifact.GetProperty("url").GetString()!);
            file.StatusCode.Should().Be(HttpStatusCode.OK);
            file.Content.Headers.ContentLength.Should().Be(artifact.GetProperty("bytes").GetInt64());
            file.Content.Headers.ContentType!.MediaType.Should().Be(artifact.GetProperty("contentType").GetString());
        }

        using var run = await client.SendAsync(HttpMethod.Get, artifacts.Single(a => a.GetProperty("kind").GetString() == "run").GetProperty("url").GetString()!);
        (await run.Content.ReadAsStringAsync()).Should().MatchRegex("\"scale\": ?0.5").And.Contain("factor: 0.5").And.Contain("printProfile");
        var asked = service.Parts.GetRequiredService<ServiceLedger>().Ledger.EventsOf(ServiceLedger.ModelOf(job.GetProperty("id").GetString()!))[0].Event.Content;
        asked.Read<RequestBody>().Request.Scale.Should().Be(0.5, "the ledger says what was asked for");
        service.Log.Text.Should().NotContain("for the shelf").And.NotContain("INVENTED-0001");
        service.Events.After(0, 500).Should().NotContain(e => e.Event.Detail != null && e.Event.Detail.Contains("shelf", StringComparison.Ordinal));
    }

    [Fact]
    public async Task What_the_headers_contradict_is_stopped_and_can_be_put_right()
    {
        await using var service = await RunningService.StartAsync(_folder["data"], s_still);
        using var client = await ServiceClient.AsAsync(service, Roles.Coordinator);
        var left = await Source(service, Who("INVENTED-A", "HEAD", "L"), "left");
        var foot = await Source(service, Who("INVENTED-B", "FOOT", null), "foot");
        (left.BodyPart, left.Laterality, left.Samples).Should().Be(("HEAD", "L", left.Samples)).And.NotBe((null, null, null));

        var wrongSide = await Ask(client, new { purpose = "planning", anatomy = "orbit", side = "right", plan = "bone", sourceId = left.Id });
        ShouldBeStopped(wrongSide, FindingCodes.SideMismatch);
        var wrongPart = await Ask(client, new { purpose = "planning", anatomy = "orbit", plan = "bone", sourceId = foot.Id });
        ShouldBeStopped(wrongPart, FindingCodes.AnatomyMismatch);
        var wrongPerson = await Ask(client, new { purpose = "planning", anatomy = "orbit", plan = "bone", patientId = "INVENTED-B", sourceId = left.Id });
        ShouldBeStopped(wrongPerson, FindingCodes.PatientMismatch);
        service.Jobs.List(10).Should().BeEmpty("nothing is made from what contradicts");
        service.Events.After(0, 500).Count(e => e.Event.Kind == "request.stopped").Should().Be(3);

        var id = wrongSide.GetProperty("id").GetString();
        var (_, tag) = await Tagged(client, $"/api/v1/requests/{id}");
        (await client.SendAsync(HttpMethod.Put, $"/api/v1/requests/{id}", new { purpose = "planning", anatomy = "orbit", side = "left", plan = "bone", sourceId = left.Id }, ("If-Match", "\"0.0\""))).StatusCode.Should().Be(HttpStatusCode.PreconditionFailed);
        using var right = await client.SendAsync(HttpMethod.Put, $"/api/v1/requests/{id}", new { purpose = "planning", anatomy = "orbit", side = "left", plan = "bone", sourceId = left.Id }, ("If-Match", tag));
        right.StatusCode.Should().Be(HttpStatusCode.OK);
        (await right.Content.ReadFromJsonAsync<JsonElement>()).GetProperty("state").GetString().Should().Be("queued");
        (await client.SendAsync(HttpMethod.Put, $"/api/v1/requests/{id}", new { purpose = "planning", anatomy = "orbit", plan = "bone", sourceId = left.Id })).StatusCode.Should().Be(HttpStatusCode.Conflict, "its job is there");

        var unknown = await Ask(client, new { purpose = "planning", anatomy = "orbit", side = "both", plan = "bone", sourceId = (await Source(service, Who("INVENTED-C", "SMITH JOHN", null), "unknown")).Id });
        unknown.GetProperty("state").GetString().Should().Be("queued");
        unknown.GetProperty("findings").EnumerateArray().Select(f => (f.GetProperty("code").GetString(), f.GetProperty("severity").GetString())).Should().Equal((FindingCodes.AnatomyUnknown, "caution"), (FindingCodes.SideUnknown, "caution"));
        unknown.ToString().Should().NotContain("SMITH", "a word that is no term may be a name");
    }

    [Fact]
    public async Task Of_several_sources_of_a_patient_a_person_chooses_and_a_right_one_that_comes_later_is_found()
    {
        await using var service = await RunningService.StartAsync(_folder["data"], s_still);
        using var client = await ServiceClient.AsAsync(service, Roles.Coordinator);
        var asked = await Ask(client, new { purpose = "education", anatomy = "skull", plan = "bone", patientId = "INVENTED-A" });
        var id = asked.GetProperty("id").GetString()!;
        await Source(service, Who("INVENTED-A", "FOOT", null), "foot");
        (await service.Until(() => service.Requests.Find(id) is { State: RequestState.Stopped } r ? r : null, "not stopped")).Findings.Should().Contain(f => f.Code == FindingCodes.AnatomyMismatch);
        var head = await Source(service, Who("INVENTED-A", "HEAD", null), "head");
        (await service.Until(() => service.Requests.Find(id) is { State: RequestState.Queued } r ? r : null, "not matched")).Request.Job.SourceId.Should().Be(head.Id);

        var other = await Source(service, Who("INVENTED-A", "SKULL", null), "skull");
        var second = await Ask(client, new { purpose = "education", anatomy = "skull", plan = "skin", patientId = "INVENTED-A" });
        second.GetProperty("state").GetString().Should().Be("choose");
        second.GetProperty("candidates").EnumerateArray().Select(c => c.GetString()).Should().BeEquivalentTo(head.Id, other.Id);
        var chosen = await client.SendAsync(HttpMethod.Post, $"/api/v1/requests/{second.GetProperty("id").GetString()}/source", new { sourceId = other.Id });
        (await chosen.Content.ReadFromJsonAsync<JsonElement>()).GetProperty("sourceId").GetString().Should().Be(other.Id);
        service.Jobs.List(10).Should().HaveCount(2, "two requests for one patient are two jobs");
        var cancelled = await client.SendAsync(HttpMethod.Post, $"/api/v1/requests/{id}/cancel");
        (await cancelled.Content.ReadFromJsonAsync<JsonElement>()).GetProperty("state").GetString().Should().Be("cancelled");
        service.Jobs.List(10).Count(j => j.State == AnatomyPrep.Service.Jobs.JobState.Cancelled).Should().Be(1);
        (await client.SendAsync(HttpMethod.Post, $"/api/v1/requests/{id}/cancel")).StatusCode.Should().Be(HttpStatusCode.Conflict);
        (await (await client.SendAsync(HttpMethod.Post, $"/api/v1/requests/{id}/retry")).Content.ReadFromJsonAsync<JsonElement>()).GetProperty("state").GetString().Should().Be("queued");
    }

    [Fact]
    public async Task A_table_makes_all_its_requests_once_or_none()
    {
        await using var service = await RunningService.StartAsync(_folder["data"], s_still);
        using var client = await ServiceClient.AsAsync(service, Roles.Coordinator);
        var good = string.Concat(Enumerable.Range(0, 120).Select(k => $"education,skull,bone,P-{k},2030-01-01\n"));
        using var refused = await Table(client, $"purpose,anatomy,plan,patientId,neededBy\n{good}education,skull,bonus,P-X,\n", "one");
        refused.StatusCode.Should().Be(HttpStatusCode.UnprocessableEntity);
        var problem = await refused.Content.ReadFromJsonAsync<JsonElement>();
        problem.GetProperty("rows").EnumerateArray().Select(r => (r.GetProperty("line").GetInt32(), r.GetProperty("field").GetString())).Should().Equal((122, "plan"));
        service.Requests.List(500).Should().BeEmpty();

        using var taken = await Table(client, $"purpose,anatomy,plan,patientId,neededBy\n{good}", "one");
        taken.StatusCode.Should().Be(HttpStatusCode.Created);
        using var again = await Table(client, $"purpose,anatomy,plan,patientId,neededBy\n{good}", "one");
        (await again.Content.ReadAsStringAsync()).Should().Be(await taken.Content.ReadAsStringAsync(), "the same key gives what was made then");
        (await Table(client, "purpose,anatomy,plan,patientId\neducation,skull,bone,P-1\neducation,skull,bone,P-2\n" + good[..0], "two")).StatusCode.Should().Be(HttpStatusCode.Created);
        (await Table(client, "purpose,anatomy,plan,patientId\neducation,skull,bone,P-1\neducation,skull,bone,P-2\neducation,skull,bone,P-3\n", "two")).StatusCode.Should().Be(HttpStatusCode.Conflict);
        service.Requests.List(500).Should().HaveCount(122);

        var (first, tag) = await Tagged(client, "/api/v1/requests/?limit=100");
        (await client.SendAsync(HttpMethod.Get, "/api/v1/requests/?limit=100", null, ("If-None-Match", tag))).StatusCode.Should().Be(HttpStatusCode.NotModified);
        var rest = await client.ReadAsync($"/api/v1/requests/?limit=100&before={first.GetProperty("next").GetString()}");
        first.GetProperty("items").EnumerateArray().Concat(rest.GetProperty("items").EnumerateArray()).Select(r => r.GetProperty("id").GetString()).Should().OnlyHaveUniqueItems().And.HaveCount(122);
        (await client.ReadAsync("/api/v1/requests/?state=stopped")).GetProperty("items").GetArrayLength().Should().Be(0);
    }

    [Theory]
    [InlineData("anatomy", "<script>")]
    [InlineData("plan", "--out")]
    [InlineData("profile", "../vat")]
    [InlineData("scale", 0)]
    [InlineData("scale", 21)]
    [InlineData("patientKey", "short")]
    [InlineData("requesterCode", "-x")]
    [InlineData("note", "\u0007")]
    public async Task A_value_that_is_not_allowed_is_named(string field, object value)
    {
        await using var service = await RunningService.StartAsync(_folder["data"], s_still);
        using var client = await ServiceClient.AsAsync(service, Roles.Coordinator);
        var body = new Dictionary<string, object> { ["purpose"] = "education", ["anatomy"] = "skull", ["plan"] = "bone", [field == "patientKey" ? "none" : "patientId"] = "P", [field] = value };
        body.Remove("none");
        using var answer = await client.SendAsync(HttpMethod.Post, "/api/v1/requests/", body);
        answer.StatusCode.Should().Be(HttpStatusCode.BadRequest);
        (await answer.Content.ReadFromJsonAsync<JsonElement>()).GetProperty("field").GetString().Should().Be(field);
    }

    [Fact]
    public async Task Who_listens_is_told_what_to_read_again()
    {
        await using var service = await RunningService.StartAsync(_folder["data"], s_still);
        using var client = await ServiceClient.AsAsync(service, Roles.Coordinator);
        using var stream = await client.ListenAsync("/api/v1/changes");
        var asked = await Ask(client, new { purpose = "education", anatomy = "skull", plan = "bone", patientId = "INVENTED-A" });
        string? line;
        do
            line = await stream.ReadLineAsync().WaitAsync(TimeSpan.FromSeconds(20));
        while (line?.StartsWith("data:", StringComparison.Ordinal) == false);
        JsonDocument.Parse(line!["data:".Length..]).RootElement.GetProperty("id").GetString().Should().Be(asked.GetProperty("id").GetString());
    }

    private static void ShouldBeStopped(JsonElement request, string code)
    {
        request.GetProperty("state").GetString().Should().Be("stopped");
        request.GetProperty("findings").EnumerateArray().Should().Contain(f => f.GetProperty("code").GetString() == code && f.GetProperty("severity").GetString() == "stop");
        request.GetProperty("reason").GetString().Should().NotBeNullOrEmpty();
        request.GetProperty("remedy").GetString().Should().NotBeNullOrEmpty();
    }

    private static Identity Who(string patientId, string bodyPart, string? laterality) => Identity.Invented with
    {
        PatientId = patientId,
        BodyPartExamined = bodyPart,
        Further = laterality is null ? [] : [(new DicomTag(0x0020, 0x0060), Vr.CS, laterality)],
    };

    private async Task<SourceEntry> Source(RunningService service, Identity identity, string name)
    {
        var before = service.Sources.List(100).Count;
        service.Bring(Phantom.Write(Phantom.Ball(slices: 3) with { Identity = identity, SeriesNumber = 100 + before }, _folder[name]));
        return await service.Until(() => service.Sources.List(100) is var all && all.Count > before ? all[0] : null, "no source");
    }

    private static async Task<JsonElement> Ask(ServiceClient client, object body)
    {
        using var answer = await client.SendAsync(HttpMethod.Post, "/api/v1/requests/", body);
        answer.StatusCode.Should().Be(HttpStatusCode.Created, await answer.Content.ReadAsStringAsync());
        return await answer.Content.ReadFromJsonAsync<JsonElement>();
    }

    private static Task<HttpResponseMessage> Table(ServiceClient client, string text, string key)
    {
        var content = new ByteArrayContent(Encoding.UTF8.GetBytes(text));
        content.Headers.ContentType = new MediaTypeHeaderValue("text/csv");
        return client.SendAsync(HttpMethod.Post, "/api/v1/requests/csv", content, ("Idempotency-Key", key));
    }

    private static async Task<(JsonElement Body, string Tag)> Tagged(ServiceClient client, string path)
    {
        using var answer = await client.SendAsync(HttpMethod.Get, path);
        return (await answer.Content.ReadFromJsonAsync<JsonElement>(), answer.Headers.ETag!.Tag);
    }
}
