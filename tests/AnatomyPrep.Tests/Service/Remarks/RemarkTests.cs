using System.Net;
using System.Text.Json;
using AnatomyPrep.Records.Statements;
using AnatomyPrep.Service.Accounts;

namespace AnatomyPrep.Tests.Service.Remarks;

/// <summary>What people say about a model, over the API; no model has to be made for it.</summary>
public sealed class RemarkTests : IDisposable
{
    private readonly TestFolder _folder = new();

    public void Dispose() => _folder.Dispose();

    [Fact]
    public async Task Remarks_are_numbered_kept_with_their_marks_and_their_words_stay_out_of_events_and_log()
    {
        await using var service = await RunningService.StartAsync(_folder["data"], new { });
        var job = service.Jobs.Create(new(Purpose.Education, "skull", null, "bone", null, null, new string('a', 64), null), "tess", null);
        using var cora = await ServiceClient.AsAsync(service, Roles.Coordinator, "cora");
        (await PostAsync(cora, job.Id, new { verdict = "back", words = "zygoma words", marks = new[] { new { atMm = new[] { 1.5, -2, 3 }, words = "hole words" } } })).Should().Be(HttpStatusCode.Created);
        (await PostAsync(cora, job.Id, new { verdict = "note", words = "a second" })).Should().Be(HttpStatusCode.Created);

        var items = (await cora.ReadAsync($"/api/v1/jobs/{job.Id}/remarks")).GetProperty("items");
        items.EnumerateArray().Select(r => r.GetProperty("number").GetInt32()).Should().Equal(1, 2);
        var mark = items[0].GetProperty("marks")[0];
        mark.GetProperty("atMm").EnumerateArray().Select(c => c.GetDouble()).Should().Equal(1.5, -2, 3);
        mark.GetProperty("words").GetString().Should().Be("hole words");
        items[0].GetProperty("by").GetString().Should().Be("cora");
        (await cora.ReadAsync("/api/v1/verdicts")).GetProperty(job.Id).GetString().Should().Be("back", "a note is no verdict");

        var events = service.Events.After(0, 500);
        events.Select(e => e.Event.Kind).Should().Contain("model.sent-back").And.Contain("model.remarked");
        JsonSerializer.Serialize(events).Should().NotContain("zygoma").And.NotContain("hole words");
        service.Log.Text.Should().NotContain("zygoma").And.NotContain("hole words");
    }

    [Fact]
    public async Task What_must_not_be_said_is_refused_with_its_reason()
    {
        await using var service = await RunningService.StartAsync(_folder["data"], new { });
        var job = service.Jobs.Create(new(Purpose.Education, "skull", null, "bone", null, null, new string('a', 64), null), "tess", null);
        using var cora = await ServiceClient.AsAsync(service, Roles.Coordinator, "cora");
        using var tess = await ServiceClient.AsAsync(service, Roles.Technician, "tess");
        (await PostAsync(cora, job.Id, new { verdict = "back" })).Should().Be(HttpStatusCode.BadRequest, "nobody knows what is wrong");
        (await PostAsync(cora, job.Id, new { verdict = "fits" })).Should().Be(HttpStatusCode.Conflict, "it is not made");
        (await PostAsync(tess, job.Id, new { verdict = "back", words = "mine" })).Should().Be(HttpStatusCode.Forbidden, "a technician does not judge");
        (await PostAsync(tess, job.Id, new { verdict = "note", words = "mine" })).Should().Be(HttpStatusCode.Created);
        (await PostAsync(cora, job.Id, new { verdict = "note", words = new string('x', 501) })).Should().Be(HttpStatusCode.BadRequest);
        (await PostAsync(cora, job.Id, new { verdict = "note", marks = new[] { new { atMm = new[] { 1.0, 2 }, words = "" } } })).Should().Be(HttpStatusCode.BadRequest, "a place has three numbers");
        (await PostAsync(cora, job.Id, new { verdict = "note", marks = new[] { new { atMm = new[] { 1e9, 2, 3 }, words = "" } } })).Should().Be(HttpStatusCode.BadRequest, "nobody is that large");
        (await PostAsync(cora, "0123", new { verdict = "note", words = "x" })).Should().Be(HttpStatusCode.NotFound);
        // One remark is there: who has seen none, or two, is told.
        (await PostAsync(cora, job.Id, new { verdict = "note", words = "x" }, "\"0\"")).Should().Be(HttpStatusCode.PreconditionFailed);
        (await PostAsync(cora, job.Id, new { verdict = "note", words = "x" }, "\"1\"")).Should().Be(HttpStatusCode.Created);
    }

    private static async Task<HttpStatusCode> PostAsync(ServiceClient client, string job, object body, string? tag = null)
    {
        using var answer = await client.SendAsync(HttpMethod.Post, $"/api/v1/jobs/{job}/remarks", body, tag is null ? [] : [("If-Match", tag)]);
        return answer.StatusCode;
    }
}
