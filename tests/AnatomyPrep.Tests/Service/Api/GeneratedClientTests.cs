using System.Net.Http.Headers;
using System.Text.Json.Nodes;
using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Tests.Generated;

namespace AnatomyPrep.Tests.Service.Api;

/// <summary>The document of the API is the API: a client made from it while these tests were built works against a real service.</summary>
public sealed class GeneratedClientTests : IDisposable
{
    private readonly TestFolder _folder = new();

    public void Dispose() => _folder.Dispose();

    [Fact]
    public async Task The_document_in_docs_is_the_one_that_the_service_gives()
    {
        await using var service = await RunningService.StartAsync(_folder["data"], new { storage = new { leastFreeMegabytes = int.MaxValue } });
        using var http = new HttpClient { BaseAddress = service.Address };
        var given = JsonNode.Parse(await http.GetStringAsync("/openapi/v1.json"))!.AsObject();
        given.Remove("servers");
        var kept = JsonNode.Parse(await File.ReadAllTextAsync(Path.Combine(Repository.Root, "docs", "operations", "openapi.json")))!.AsObject();
        // Title and tags name the program that serves it, which here is the test runner.
        foreach (var document in new[] { kept, given })
        {
            document.Remove("info");
            document.Remove("tags");
            foreach (var operation in document["paths"]!.AsObject().SelectMany(p => p.Value!.AsObject()))
                operation.Value!.AsObject().Remove("tags");
        }

        JsonNode.DeepEquals(given, kept).Should().BeTrue("docs/operations/openapi.json is /openapi/v1.json without \"servers\": put the new one there");
    }

    [Fact]
    public async Task The_client_has_a_method_for_every_operation()
    {
        var document = JsonNode.Parse(await File.ReadAllTextAsync(Path.Combine(Repository.Root, "docs", "operations", "openapi.json")))!;
        var operations = document["paths"]!.AsObject().Sum(p => p.Value!.AsObject().Count);
        typeof(GeneratedClient).GetMethods().Count(m => m.Name.EndsWith("Async", StringComparison.Ordinal) && m.DeclaringType == typeof(GeneratedClient)).Should().Be(operations);
        operations.Should().BeGreaterThan(90);
    }

    [Fact]
    public async Task A_request_is_made_followed_and_cancelled_with_the_types_of_the_document()
    {
        await using var service = await RunningService.StartAsync(_folder["data"], new { storage = new { leastFreeMegabytes = int.MaxValue } });
        using var cora = await ServiceClient.AsAsync(service, Roles.Coordinator, "cora");
        using var http = new HttpClient { BaseAddress = service.Address };
        http.DefaultRequestHeaders.Authorization = new AuthenticationHeaderValue("Bearer", service.Accounts.MakeToken("cora", "test", 1).Secret);
        var client = new GeneratedClient(http);
        (await client.PlansAsync()).Items.Select(p => p.Name).Should().Contain("bone");
        var made = await client.RequestsPOSTAsync(new NewRequest { Purpose = Purpose.Planning, Anatomy = "skull", Plan = "bone", Side = null, Scale = 0.5, PatientId = "INVENTED-3" });
        (made.State, made.Scale, made.CreatedBy).Should().Be((RequestState.Waiting, 0.5, "cora"));
        (await client.RequestsGETAsync(limit: 10)).Items.Should().ContainSingle(r => r.Id == made.Id);
        var job = await client.JobsPOSTAsync(new NewJob { Purpose = Purpose.Education, Anatomy = "skull", Plan = "bone", PatientId = "INVENTED-3" }, "key-1");
        (await client.JobsPOSTAsync(new NewJob { Purpose = Purpose.Education, Anatomy = "skull", Plan = "bone", PatientId = "INVENTED-3" }, "key-1")).Id.Should().Be(job.Id, "the key was used");
        (await client.JobsGET2Async(job.Id)).State.Should().Be(JobState.Waiting);
        var refused = () => client.JobsPOSTAsync(new NewJob { Purpose = Purpose.Education, Anatomy = "<b>", Plan = "bone", PatientId = "x" });
        (await refused.Should().ThrowAsync<ApiException>()).Which.StatusCode.Should().Be(400);
        var forbidden = () => client.AccountsAsync();
        (await forbidden.Should().ThrowAsync<ApiException>()).Which.StatusCode.Should().Be(403);
    }
}
