using System.Net;
using System.Net.Http.Json;
using System.Security.Cryptography;
using System.Text;
using System.Text.Json;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Ledgers;
using AnatomyPrep.Records.Ledgers.Bundles;
using AnatomyPrep.Records.Ledgers.Checks;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Service.Jobs;
using AnatomyPrep.Service.Ledgers;
using AnatomyPrep.Service.Storage;
using Microsoft.Extensions.DependencyInjection;

namespace AnatomyPrep.Tests.Service.Ledgers;

/// <summary>A model made by the service has its whole history in one ledger: what the service did, and what people signed.</summary>
public sealed class ServiceLedgerTests : IDisposable
{
    private const string Passphrase = "a passphrase nobody logs";

    private static readonly object s_settings = new { intake = new { quietSeconds = 0.3 } };
    private static readonly object s_still = new { storage = new { leastFreeMegabytes = int.MaxValue } };

    private readonly TestFolder _folder = new();

    private string Data => _folder["data"];

    public void Dispose() => _folder.Dispose();

    [Fact]
    [Trait("Kind", "Slow")]
    public async Task From_request_to_recall_everything_is_in_one_ledger()
    {
        var files = Phantom.Write(Phantom.Bones(), _folder["ct"]);
        await using var service = await RunningService.StartAsync(Data, s_settings);
        using var ada = await ServiceClient.AsAsync(service, Roles.Administrator, "ada");
        using var cora = await ServiceClient.AsAsync(service, Roles.Coordinator, "cora");
        using var tom = await ServiceClient.AsAsync(service, Roles.Technician, "tom");
        using var quinn = await ServiceClient.AsAsync(service, Roles.QualityOfficer, "quinn");
        await Enrol(ada, "Ada Lindgren", admitted: true);
        foreach (var (client, name, role) in new[] { (cora, "cora", "coordinator"), (tom, "tom", "technician"), (quinn, "quinn", "qualityOfficer") })
        {
            var key = await Enrol(client, $"{name} of the laboratory", admitted: false);
            await Signed(ada, $"people/{name}/admit", new { passphrase = Passphrase, key, roles = new[] { role } });
        }

        service.Bring(files);
        var source = await service.Until(() => service.Sources.List(10) is [var only] ? only : null, "no source");
        using var made = await tom.SendAsync(HttpMethod.Post, "/api/v1/jobs/", new { purpose = "planning", anatomy = "shells", plan = "bone", sourceId = source.Id });
        var job = (await made.Content.ReadFromJsonAsync<JsonElement>()).GetProperty("id").GetString()!;
        var done = await service.Until(() => service.Jobs.Find(job) is { EndedAt: not null } ended ? ended : null, "the job does not end");
        done.State.Should().Be(JobState.Done, done.Reason);

        var model = $"models/M-{job}/1";
        var timeline = await tom.ReadAsync($"/api/v1/ledger/{model}");
        timeline.GetProperty("facts").GetProperty("stage").GetString().Should().Be("prepared");
        timeline.GetProperty("facts").GetProperty("preparer").GetString().Should().Be("tom");
        Kinds(timeline).Where(k => k != "serviceEvent").Should().Equal("request", "sourceReceived", "run");

        await Refused(tom, $"{model}/review", new { passphrase = Passphrase }, HttpStatusCode.Conflict, Refusals.SecondPersonNeeded);
        await Signed(quinn, $"{model}/review", new { passphrase = Passphrase });
        if (Cautions(await tom.ReadAsync($"/api/v1/ledger/{model}")) is { Length: > 0 } cautions)
        {
            await Refused(quinn, $"{model}/release", new { passphrase = Passphrase }, HttpStatusCode.Conflict, Refusals.UnacknowledgedCaution);
            foreach (var finding in cautions)
                await Signed(quinn, $"{model}/acknowledge", new { passphrase = Passphrase, finding, reason = "Known of this phantom." });
        }

        await Signed(quinn, $"{model}/release", new { passphrase = Passphrase, retainUntil = "2040-01-31" });
        await Signed(tom, $"{model}/print", new { passphrase = Passphrase, printer = "printer-2", material = "resin", lot = "L-0417" });
        await Signed(quinn, $"{model}/inspect", new { passphrase = Passphrase, passed = true, method = "caliper", largestDeviationMm = 0.2 });
        await Signed(cora, $"{model}/deliver", new { passphrase = Passphrase, to = "ward-3" });
        (await quinn.ReadAsync("/api/v1/ledger/questions/recall?lot=L-0417")).GetProperty("items")[0].GetProperty("holders")[0].GetString().Should().Be("ward-3");
        var withdrawn = await Signed(quinn, $"{model}/withdraw", new { passphrase = Passphrase, reason = "The lot is brittle.", lot = "L-0417" });
        withdrawn.GetProperty("model").GetProperty("stage").GetString().Should().Be("withdrawn");

        using var bundle = await quinn.SendAsync(HttpMethod.Post, "/api/v1/ledger/bundles", new { passphrase = Passphrase, models = new[] { $"M-{job}/1" } });
        bundle.StatusCode.Should().Be(HttpStatusCode.OK);
        var zip = await bundle.Content.ReadAsByteArrayAsync();
        BundleVerifier.Verify(zip, null).Failures.Should().BeEmpty();
        File.WriteAllBytes(_folder["bundle.zip"], zip);
        TestProgram.Run(_folder["home"], "verify", _folder["bundle.zip"]).ExitCode.Should().Be(0);

        var watch = service.Parts.GetRequiredService<LedgerWatch>();
        watch.Night(default);
        watch.State!.Failures.Should().BeEmpty();
        var replay = (await quinn.ReadAsync("/api/v1/ledger/questions/drift-by-software")).GetProperty("items")[0];
        (replay.GetProperty("replayed").GetInt32(), replay.GetProperty("differing").GetInt32()).Should().Be((1, 0));
        service.Log.Text.Should().NotContain(Passphrase);
        foreach (var file in Directory.GetFiles(Data, "*", SearchOption.AllDirectories).Where(f => !f.Contains("/jobs/", StringComparison.Ordinal) && !f.Contains("/sources/", StringComparison.Ordinal) && Path.GetFileName(f) != "lock"))
            Encoding.Latin1.GetString(ReadShared(file)).Should().NotContain(Passphrase, "of {0}", Path.GetFileName(file));
    }

    [Fact]
    public async Task What_happens_in_the_service_is_in_the_ledger_before_its_effect()
    {
        await using var service = await RunningService.StartAsync(Data, s_still);
        using var ada = await ServiceClient.AsAsync(service, Roles.Administrator, "ada");
        using var tom = await ServiceClient.AsAsync(service, Roles.Technician, "tom");
        using var refused = await tom.SendAsync(HttpMethod.Get, "/api/v1/accounts");
        using var wrong = new ServiceClient(service.Address);
        await wrong.SignInAsync("tom", "not the right password");
        using var created = await tom.SendAsync(HttpMethod.Post, "/api/v1/jobs/", new { purpose = "education", anatomy = "skull", plan = "bone", patientId = "INVENTED-77" });
        await ada.SendAsync(HttpMethod.Post, "/api/v1/accounts/tom/disable");

        var whats = Whats(service);
        whats.Should().Contain(["account.created", "session.opened", "access.refused", "session.refused", "job.created", "account.disabled"]);
        whats.Should().BeEquivalentTo(service.Events.After(0, 1000).Select(e => e.Event.Kind), "each event of the service is in both");
        Encoding.Latin1.GetString(ReadShared(Path.Combine(Data, "ledger", "ledger.db"))).Should().NotContain("INVENTED-77");
        Check(service).Failures.Should().BeEmpty();
        var job = service.Jobs.List(1)[0].Id;
        Ledger(service).Model(ServiceLedger.ModelOf(job))!.Stage.Should().Be(AnatomyPrep.Records.Ledgers.Models.ModelStage.Requested);
    }

    [Fact]
    public async Task A_refusing_ledger_keeps_the_effect_from_happening_and_what_only_tells_is_owed()
    {
        await using var service = await RunningService.StartAsync(Data, s_still);
        using var tom = await ServiceClient.AsAsync(service, Roles.Technician, "tom");
        var database = Path.Combine(Data, "ledger", "ledger.db");
        using (var other = new Microsoft.Data.Sqlite.SqliteConnection($"Data Source={database};Pooling=False"))
        {
            other.Open();
            // A guard of the database that refuses every row stands for a disk that takes nothing more.
            Execute(other, "CREATE TRIGGER no_more BEFORE INSERT ON event BEGIN SELECT RAISE(ABORT, 'no'); END");
            using var made = await tom.SendAsync(HttpMethod.Post, "/api/v1/jobs/", new { purpose = "education", anatomy = "skull", plan = "bone", patientId = "X" });
            made.StatusCode.Should().Be(HttpStatusCode.ServiceUnavailable);
            (await made.Content.ReadFromJsonAsync<JsonElement>()).GetProperty("code").GetString().Should().Be(Refusals.DatabaseDamaged);
            service.Jobs.List(10).Should().BeEmpty("what the ledger does not take does not happen");
            using var refused = await tom.SendAsync(HttpMethod.Get, "/api/v1/accounts");
            refused.StatusCode.Should().Be(HttpStatusCode.Forbidden, "a refusal stays one");
            Whats(service).Should().NotContain("access.refused");
            Execute(other, "DROP TRIGGER no_more");
        }

        service.Parts.GetRequiredService<ServiceLedger>().Settle(service.Parts.GetRequiredService<Database>(), TimeSpan.Zero);
        Whats(service).Count(w => w == "access.refused").Should().Be(1, "it was owed, and is taken once");
        service.Parts.GetRequiredService<ServiceLedger>().Settle(service.Parts.GetRequiredService<Database>(), TimeSpan.Zero);
        Whats(service).Count(w => w == "access.refused").Should().Be(1);
        Check(service).Failures.Should().BeEmpty();
    }

    [Fact]
    public async Task An_event_whose_effect_never_came_is_named_once()
    {
        await using var service = await RunningService.StartAsync(Data, s_still);
        var ledger = service.Parts.GetRequiredService<ServiceLedger>();
        var database = service.Parts.GetRequiredService<Database>();
        // A transaction that ends after the ledger took its event: what a crash at that place leaves.
        var broken = () => database.Write(change =>
        {
            ledger.Admit(change, new("account.disabled", "tom", "ada"));
            throw new IOException("as if killed");
        });
        broken.Should().Throw<IOException>();
        ledger.Settle(database, TimeSpan.Zero);
        ledger.Settle(database, TimeSpan.Zero);
        var told = Bodies(service).Where(b => b.What == "event.without-effect").ToList();
        told.Should().ContainSingle().Which.Detail.Should().Contain("account.disabled");
    }

    [Fact]
    public async Task What_strangers_can_cause_is_written_up_to_a_number_and_then_counted()
    {
        await using var service = await RunningService.StartAsync(Data, s_still);
        using var nobody = new ServiceClient(service.Address);
        for (var i = 0; i < 100; i++)
            using (await nobody.SendAsync(HttpMethod.Get, "/api/v1/accounts"))
            {
            }

        service.Events.After(0, 1000).Count(e => e.Event.Kind == "access.refused").Should().Be(100);
        Whats(service).Count(w => w == "access.refused").Should().BeInRange(30, 61, "30 a minute, and a minute may end in between");
    }

    [Fact]
    public async Task A_wrong_passphrase_is_an_event_and_five_shut_the_key_over_restarts()
    {
        await using (var service = await RunningService.StartAsync(Data, s_still))
        {
            using var ada = await ServiceClient.AsAsync(service, Roles.Administrator, "ada");
            await Enrol(ada, "Ada Lindgren", admitted: true);
            for (var i = 0; i < 5; i++)
                await Refused(ada, "people/ada/change", new { passphrase = $"wrong but long {i}", name = "Ada", roles = new[] { "administrator" } }, HttpStatusCode.Forbidden, Refusals.PassphraseWrong);
        }

        await using var again = await RunningService.StartAsync(Data, s_still);
        using var back = new ServiceClient(again.Address);
        await back.SignInAsync("ada", ServiceClient.Password);
        await Refused(back, "people/ada/change", new { passphrase = Passphrase, name = "Ada", roles = new[] { "administrator" } }, HttpStatusCode.TooManyRequests, Refusals.PassphraseLocked);
        Check(again).Failures.Should().BeEmpty();
        again.Log.Text.Should().NotContain("wrong but long");
    }

    [Fact]
    public async Task A_ledger_that_does_not_hold_is_an_event_and_shows_in_the_readiness()
    {
        await using var service = await RunningService.StartAsync(Data, s_still);
        using var nobody = new ServiceClient(service.Address);
        await service.Until(() => service.Parts.GetRequiredService<LedgerWatch>().State, "no check at the start");
        (await nobody.SendAsync(HttpMethod.Get, "/health/ready")).StatusCode.Should().Be(HttpStatusCode.ServiceUnavailable, "the disk guard of this test; the ledger holds");
        using (var other = new Microsoft.Data.Sqlite.SqliteConnection($"Data Source={Path.Combine(Data, "ledger", "ledger.db")};Pooling=False"))
        {
            other.Open();
            Execute(other, "DROP TRIGGER event_no_update; UPDATE event SET person = 'nobody' WHERE position = 0");
        }

        service.Parts.GetRequiredService<LedgerWatch>().Check(default).Failures.Should().Contain("event-row: event 0");
        new AnatomyPrep.Records.Ledgers.Questions.LedgerQuestions(Ledger(service)).OfKind(LedgerEventKind.VerificationFailed).Should().ContainSingle();
        (await (await nobody.SendAsync(HttpMethod.Get, "/health/ready")).Content.ReadAsStringAsync()).Should().Contain("event-row");
    }

    [Fact]
    public async Task Proofs_and_heads_of_the_api_hold_by_themselves()
    {
        await using var service = await RunningService.StartAsync(Data, s_still);
        using var quinn = await ServiceClient.AsAsync(service, Roles.QualityOfficer, "quinn");
        var proof = await quinn.ReadAsync("/api/v1/ledger/events/1/proof");
        var (size, root) = (proof.GetProperty("size").GetInt64(), Convert.FromHexString(proof.GetProperty("root").GetString()!));
        var leaf = SHA256.HashData([0, .. Encoding.UTF8.GetBytes(proof.GetProperty("event").GetString()!)]);
        MerkleProof.VerifyInclusion(leaf, 1, size, Hashes(proof), root);
        var consistency = await quinn.ReadAsync($"/api/v1/ledger/consistency?first=2&second={size}");
        MerkleProof.VerifyConsistency(2, size, Hashes(consistency), Convert.FromHexString(consistency.GetProperty("firstRoot").GetString()!), root);
        using var head = await quinn.SendAsync(HttpMethod.Get, "/api/v1/ledger/head");
        TreeHead.Read(await head.Content.ReadAsByteArrayAsync(), out _).Size.Should().BeGreaterThanOrEqualTo(size);
        foreach (var nothing in new[] { "events/9999/proof", "events/-1/proof", "consistency?first=0", "consistency?first=9999", "models/M-none/1" })
            (await quinn.SendAsync(HttpMethod.Get, $"/api/v1/ledger/{nothing}")).StatusCode.Should().Be(HttpStatusCode.NotFound, "of {0}", nothing);
    }

    private static byte[][] Hashes(JsonElement proof) => [.. proof.GetProperty("hashes").EnumerateArray().Select(h => Convert.FromHexString(h.GetString()!))];

    private static Ledger Ledger(RunningService service) => service.Parts.GetRequiredService<ServiceLedger>().Ledger;

    private static LedgerReport Check(RunningService service) => LedgerChecks.Full(Ledger(service), [], RunContext.Default);

    private static List<ServiceEventBody> Bodies(RunningService service) =>
        [.. Enumerable.Range(0, (int)Ledger(service).Size()).Select(p => Ledger(service).Event(p)!.Content).Where(e => e.Kind == LedgerEventKind.ServiceEvent).Select(e => e.Read<ServiceEventBody>())];

    private static List<string> Whats(RunningService service) => [.. Bodies(service).Select(b => b.What)];

    private static string[] Kinds(JsonElement timeline) => [.. timeline.GetProperty("events").EnumerateArray().Select(e => e.GetProperty("kind").GetString()!)];

    private static string[] Cautions(JsonElement timeline) => [.. timeline.GetProperty("facts").GetProperty("openCautions").EnumerateArray().Select(e => e.GetString()!)];

    private static async Task<string> Enrol(ServiceClient client, string name, bool admitted)
    {
        var answer = await client.SendAsync(HttpMethod.Post, "/api/v1/ledger/me/key", new { passphrase = Passphrase, name });
        answer.StatusCode.Should().Be(HttpStatusCode.OK, await answer.Content.ReadAsStringAsync());
        var key = await answer.Content.ReadFromJsonAsync<JsonElement>();
        key.GetProperty("admitted").GetBoolean().Should().Be(admitted);
        return key.GetProperty("key").GetString()!;
    }

    private static async Task<JsonElement> Signed(ServiceClient client, string act, object body)
    {
        using var answer = await client.SendAsync(HttpMethod.Post, $"/api/v1/ledger/{act}", body);
        answer.StatusCode.Should().Be(HttpStatusCode.OK, "{0}: {1}", act, await answer.Content.ReadAsStringAsync());
        return await answer.Content.ReadFromJsonAsync<JsonElement>();
    }

    private static async Task Refused(ServiceClient client, string act, object body, HttpStatusCode status, string code)
    {
        using var answer = await client.SendAsync(HttpMethod.Post, $"/api/v1/ledger/{act}", body);
        answer.StatusCode.Should().Be(status, "{0}: {1}", act, await answer.Content.ReadAsStringAsync());
        (await answer.Content.ReadFromJsonAsync<JsonElement>()).GetProperty("code").GetString().Should().Be(code);
    }

    private static byte[] ReadShared(string path)
    {
        using var file = new FileStream(path, FileMode.Open, FileAccess.Read, FileShare.ReadWrite | FileShare.Delete);
        var bytes = new byte[file.Length];
        file.ReadExactly(bytes);
        return bytes;
    }

    private static void Execute(Microsoft.Data.Sqlite.SqliteConnection connection, string sql)
    {
        using var command = connection.CreateCommand();
#pragma warning disable CA2100 // Constants of the tests above.
        command.CommandText = sql;
#pragma warning restore CA2100
        command.ExecuteNonQuery();
    }
}
