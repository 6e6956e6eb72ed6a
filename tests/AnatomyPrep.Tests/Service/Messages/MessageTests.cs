using System.Net;
using System.Net.Http.Json;
using System.Security.Cryptography;
using System.Text;
using System.Text.Json;
using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Service.Events;
using AnatomyPrep.Service.Hosting;
using AnatomyPrep.Service.Messages;
using AnatomyPrep.Service.Storage;
using AnatomyPrep.Tests.Records.Ledgers;
using Microsoft.Extensions.DependencyInjection;

namespace AnatomyPrep.Tests.Service.Messages;

/// <summary>Others are told of every change of a request, in order, at least once, over faults and restarts; and only who is set.</summary>
public sealed class MessageTests : IDisposable
{
    private const string Secret = "a secret of twenty-four bytes or more";

    private readonly TestFolder _folder = new();

    private string Data => _folder["data"];

    public void Dispose() => _folder.Dispose();

    [Fact]
    public async Task Every_change_is_told_in_order_signed_and_without_a_word_about_the_patient()
    {
        using var peer = new Listener();
        await using var service = await RunningService.StartAsync(Data, Settings(Hook(peer)));
        using var cora = await ServiceClient.AsAsync(service, Roles.Coordinator);
        var id = await Ask(cora, note: "INVENTED-NOTE");
        await cora.SendAsync(HttpMethod.Post, $"/api/v1/requests/{id}/cancel");
        await Until(() => peer.Requests.Count == 2);
        peer.Requests.Select(Kind).Should().Equal("request.created", "request.cancelled");
        foreach (var heard in peer.Requests)
        {
            var body = JsonDocument.Parse(heard.Body).RootElement;
            body.GetProperty("requestId").GetString().Should().Be(id);
            body.EnumerateObject().Select(p => p.Name).Should().BeSubsetOf(["id", "type", "timestamp", "requestId", "jobId"]);
            heard.Headers["webhook-id"].Should().Be(body.GetProperty("id").GetString());
            // Computed here from what the specification says, not by the code under test.
            var signed = Encoding.UTF8.GetBytes($"{heard.Headers["webhook-id"]}.{heard.Headers["webhook-timestamp"]}.{Encoding.UTF8.GetString(heard.Body)}");
            heard.Headers["webhook-signature"].Should().Be("v1," + Convert.ToBase64String(HMACSHA256.HashData(Encoding.UTF8.GetBytes(Secret), signed)));
            Encoding.UTF8.GetString(heard.Body).Should().NotContain("INVENTED");
            long.Parse(heard.Headers["webhook-timestamp"], System.Globalization.CultureInfo.InvariantCulture).Should().BeCloseTo(TimeProvider.System.GetUtcNow().ToUnixTimeSeconds(), 60);
        }

        service.Log.Text.Should().NotContain(Secret);
    }

    [Fact]
    public void The_signature_is_that_of_the_published_example()
    {
        // Example of the Standard Webhooks specification and its libraries' tests, from memory.
        var secret = Convert.FromBase64String("MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw");
        Webhook.Signature(secret, "msg_p5jXN8AQM9LWM0D4loKWxJek", "1614265330", Encoding.UTF8.GetBytes("""{"test": 2432232314}"""))
            .Should().Be("v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=");
    }

    [Fact]
    public async Task A_peer_that_fails_gets_the_same_message_again_and_one_that_was_away_gets_all_after_a_restart()
    {
        var port = Listener.FreePort();
        var hook = new { name = "board", url = $"http://127.0.0.1:{port}/told", secretFile = SecretFile() };
        string[] asked;
        await using (var service = await RunningService.StartAsync(Data, Settings(hook)))
        {
            using var cora = await ServiceClient.AsAsync(service, Roles.Coordinator);
            asked = [await Ask(cora), await Ask(cora), await Ask(cora)];
            await service.Until(() => service.Parts.GetRequiredService<MessageOutbox>().List(10).FirstOrDefault(m => m.Error is not null), "no try failed");
        }

        using var peer = new Listener(port);
        var first = 0;
        peer.Answer = _ => ++first <= 1 ? 500 : 200;
        await using var again = await RunningService.StartAsync(Data, Settings(hook));
        await again.Until(() => again.Parts.GetRequiredService<MessageOutbox>().List(10) is var all && all.All(m => m.State == MessageState.Delivered) ? all : null, "not all were delivered");
        peer.Requests.Should().HaveCount(4);
        var heard = peer.Requests.ToArray();
        heard[1].Body.Should().Equal(heard[0].Body, "a message that failed comes again, the same");
        heard[1].Headers["webhook-id"].Should().Be(heard[0].Headers["webhook-id"]);
        heard.Skip(1).Select(h => JsonDocument.Parse(h.Body).RootElement.GetProperty("requestId").GetString()).Should().Equal(asked, "in order, nothing lost, nothing doubled");
        heard.Skip(1).Select(h => h.Headers["webhook-id"]).Should().OnlyHaveUniqueItems();
    }

    [Fact]
    public async Task Nothing_goes_to_another_host_than_the_one_that_is_set()
    {
        using var inner = new Listener();
        using var turning = new Listener { Answer = _ => 307, Elsewhere = inner.Url };
        using var outside = new Listener();
        await using var service = await RunningService.StartAsync(Data, Settings(Hook(turning), Hook(outside, "elsewhere", networks: ["10.99.0.0/16"])));
        using var cora = await ServiceClient.AsAsync(service, Roles.Coordinator);
        await Ask(cora);
        var outbox = service.Parts.GetRequiredService<MessageOutbox>();
        await service.Until(() => outbox.List(10) is var all && all.All(m => m.Error is not null) ? all : null, "a message was not tried");
        outbox.List(10).Single(m => m.Target == "board").Error.Should().Be("answered 307");
        outbox.List(10).Single(m => m.Target == "elsewhere").Error.Should().Be("its address is not in the networks that are set");
        turning.Requests.Should().NotBeEmpty();
        inner.Requests.Should().BeEmpty();
        outside.Requests.Should().BeEmpty();
    }

    [Fact]
    public async Task A_message_that_is_refused_for_good_is_an_event_and_an_administrator_may_send_it_again()
    {
        using var peer = new Listener { Answer = _ => 410 };
        await using var service = await RunningService.StartAsync(Data, Settings(Hook(peer)));
        using var cora = await ServiceClient.AsAsync(service, Roles.Coordinator);
        using var ada = await ServiceClient.AsAsync(service, Roles.Administrator);
        await Ask(cora);
        await service.Until(() => service.Events.After(0, 100).FirstOrDefault(e => e.Event.Kind == "message.failed"), "no event");
        var failed = (await ada.ReadAsync("/api/v1/messages?state=failed")).GetProperty("items")[0];
        failed.GetProperty("error").GetString().Should().Be("answered 410");
        peer.Answer = _ => 200;
        using var retried = await ada.SendAsync(HttpMethod.Post, $"/api/v1/messages/{failed.GetProperty("id").GetString()}/retry");
        retried.StatusCode.Should().Be(HttpStatusCode.OK);
        await Until(() => peer.Requests.Count == 2);
        peer.Requests.Select(h => h.Headers["webhook-id"]).Distinct().Should().ContainSingle();
        using var twice = await ada.SendAsync(HttpMethod.Post, $"/api/v1/messages/{failed.GetProperty("id").GetString()}/retry");
        twice.StatusCode.Should().Be(HttpStatusCode.Conflict);
    }

    [Fact]
    public async Task Mails_wait_for_a_server_that_is_away_or_busy_and_come_once()
    {
        var port = Listener.FreePort();
        var mail = new { host = "127.0.0.1", port, security = "none", from = "models@example.org", to = new[] { "lab@example.org", "ward@example.org" } };
        string id;
        await using (var service = await RunningService.StartAsync(Data, Settings([], mail)))
        {
            using var cora = await ServiceClient.AsAsync(service, Roles.Coordinator);
            id = await Ask(cora, note: "INVENTED-NOTE");
            await service.Until(() => service.Parts.GetRequiredService<MessageOutbox>().List(10).FirstOrDefault(m => m.Error is not null), "no try failed");
        }

        using var server = new MailServer(port);
        var tries = 0;
        server.Verdict = () => ++tries == 1 ? "451 come again" : "250 taken";
        await using var again = await RunningService.StartAsync(Data, Settings([], mail));
        await again.Until(() => again.Parts.GetRequiredService<MessageOutbox>().List(10) is [{ State: MessageState.Delivered }] all ? all : null, "the mail was not delivered");
        server.Mails.Should().ContainSingle();
        var got = server.Mails.Single();
        got.To.Should().Equal("lab@example.org", "ward@example.org");
        got.Header("Subject").Should().Be($"Request created (request {id})");
        got.Header("Message-Id").Should().Be($"<{again.Parts.GetRequiredService<MessageOutbox>().List(1)[0].Id}@example.org>");
        got.Header("Auto-Submitted").Should().Be("auto-generated");
        got.Text.Should().Contain("See     https://models.example.org/board").And.NotContain("INVENTED");
    }

    [Fact]
    public void A_message_is_claimed_by_one_node_and_by_another_once_the_claim_is_over()
    {
        using var database = new Database(_folder["service.db"], EventLog.Schema, SourceStore.Schema, AnatomyPrep.Service.Jobs.JobStore.Schema, AnatomyPrep.Service.Requests.RequestStore.Schema, MessageOutbox.Schema);
        var clock = new TestClock();
        var settings = new ServiceSettings { Messages = new() { Webhooks = [new() { Name = "board", Url = "http://127.0.0.1:1/", SecretFile = SecretFile() }] } };
        var (one, other) = (new MessageOutbox(database, settings, clock), new MessageOutbox(database, settings, clock));
        new EventLog(database, clock, null, one).Append(new("request.created", "r-1"));
        var claimed = one.Claim("board");
        claimed.Should().NotBeNull();
        other.Claim("board").Should().BeNull("one sends it");
        clock.Now += TimeSpan.FromMinutes(2);
        other.Claim("board")!.Id.Should().Be(claimed!.Id, "the first may have died");
        other.Failed(claimed with { Tries = 2 }, "answered 500", isFinal: false).Should().BeFalse();
        other.Claim("board").Should().BeNull("it is tried again after a pause");
        clock.Now -= TimeSpan.FromDays(30);
        other.Claim("board").Should().NotBeNull("a clock that was set back must not hold it up");
        clock.Now += TimeSpan.FromDays(40);
        other.Failed(claimed, "answered 500", isFinal: false).Should().BeTrue("after 72 h it is given up");
        new MessageOutbox(database, new ServiceSettings(), clock).Retry(claimed.Id).Should().NotBeNull();
        new MessageOutbox(database, new ServiceSettings(), clock).Tidy().Should().Be(1, "its target is no longer set");
    }

    private static string Kind(Heard heard) => JsonDocument.Parse(heard.Body).RootElement.GetProperty("type").GetString()!;

    /// <summary>No job is started: the disk guard is set too high.</summary>
    private static object Settings(object[] webhooks, object? mail) =>
        new { storage = new { leastFreeMegabytes = int.MaxValue }, messages = new { webhooks, mail, pageUrl = "https://models.example.org" } };

    private static object Settings(params object[] webhooks) => Settings(webhooks, null);

    private object Hook(Listener peer, string name = "board", string[]? networks = null) => new { name, url = peer.Url, secretFile = SecretFile(), networks = networks ?? [] };

    private string SecretFile()
    {
        File.WriteAllText(_folder["secret"], Secret + "\n");
        return _folder["secret"];
    }

    private static async Task<string> Ask(ServiceClient client, string? note = null)
    {
        using var made = await client.SendAsync(HttpMethod.Post, "/api/v1/requests/", new { purpose = "education", anatomy = "skull", plan = "bone", patientId = "INVENTED-31", note });
        made.StatusCode.Should().Be(HttpStatusCode.Created);
        return (await made.Content.ReadFromJsonAsync<JsonElement>()).GetProperty("id").GetString()!;
    }

    private static async Task Until(Func<bool> holds)
    {
        for (var k = 0; k < 600 && !holds(); k++)
            await Task.Delay(50);
        holds().Should().BeTrue();
    }
}
