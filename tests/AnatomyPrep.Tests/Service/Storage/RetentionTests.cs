using System.Net;
using System.Net.Http.Json;
using System.Text.Json;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Service.Jobs;
using AnatomyPrep.Service.Ledgers;
using AnatomyPrep.Service.Storage;
using Microsoft.Extensions.DependencyInjection;

namespace AnatomyPrep.Tests.Service.Storage;

/// <summary>Files go when their time is over, each after its event; records stay, and what is needed or signed for stays whole.</summary>
public sealed class RetentionTests : IDisposable
{
    private static readonly object s_settings = new { intake = new { quietSeconds = 0.3 }, storage = new { leastFreeMegabytes = int.MaxValue }, retention = new { sourceDays = 30, resultDays = 30 } };

    private readonly TestFolder _folder = new();

    private string Data => _folder["data"];

    public void Dispose() => _folder.Dispose();

    [Fact]
    public async Task Images_of_a_source_go_after_their_event_and_may_come_again()
    {
        var files = Phantom.Write(Phantom.Ball(slices: 4), _folder["ct"]);
        await using var service = await RunningService.StartAsync(Data, s_settings);
        using var tom = await ServiceClient.AsAsync(service, Roles.Technician);
        using var quinn = await ServiceClient.AsAsync(service, Roles.QualityOfficer);
        service.Bring(files);
        var source = await service.Until(() => service.Sources.List(1) is [var only] ? only : null, "no source");
        var images = Path.Combine(Data, "sources", source.Id, "images");
        (await quinn.ReadAsync("/api/v1/retention?before=2000-01-01")).GetProperty("items").GetArrayLength().Should().Be(0);
        var soon = (await quinn.ReadAsync($"/api/v1/retention?before={TimeProvider.System.GetUtcNow().AddDays(32):yyyy-MM-dd}")).GetProperty("items");
        soon.GetArrayLength().Should().Be(1);
        soon[0].GetProperty("id").GetString().Should().Be(source.Id);

        var retention = service.Parts.GetRequiredService<Retention>();
        retention.Look();
        Directory.GetFiles(images).Should().HaveCount(4, "its time is not over");
        // A job that has not ended needs it, however old it is.
        using var made = await tom.SendAsync(HttpMethod.Post, "/api/v1/jobs/", new { purpose = "education", anatomy = "ball", plan = "bone", sourceId = source.Id });
        var job = (await made.Content.ReadFromJsonAsync<JsonElement>()).GetProperty("id").GetString()!;
        Age(service, "UPDATE source SET filed_at = '2020-01-01T00:00:00.000Z'");
        retention.Look();
        Directory.GetFiles(images).Should().HaveCount(4);
        await tom.SendAsync(HttpMethod.Post, $"/api/v1/jobs/{job}/cancel");
        Age(service, "UPDATE job SET ended_at = '2020-01-02T00:00:00.000Z'");

        // The ledger takes nothing: then nothing goes.
        var ledger = Path.Combine(Data, "ledger", "ledger.db");
        Sqlite(ledger, "CREATE TRIGGER no_more BEFORE INSERT ON event BEGIN SELECT RAISE(ABORT, 'no'); END");
        FluentActions.Invoking(retention.Look).Should().Throw<AnatomyPrep.Records.Ledgers.LedgerRefusedException>();
        Directory.GetFiles(images).Should().HaveCount(4, "files go only after their event is written");
        Sqlite(ledger, "DROP TRIGGER no_more");

        retention.Look();
        Directory.Exists(images).Should().BeFalse();
        File.Exists(Path.Combine(Data, "sources", source.Id, "source.json")).Should().BeTrue("the hashes stay");
        service.Sources.Find(source.Id)!.ExpiredAt.Should().NotBeNull();
        InLedger(service, "source.expired").Should().Be(1);
        using var refused = await tom.SendAsync(HttpMethod.Post, "/api/v1/jobs/", new { purpose = "education", anatomy = "ball", plan = "bone", sourceId = source.Id });
        refused.StatusCode.Should().Be(HttpStatusCode.UnprocessableEntity);
        (await refused.Content.ReadAsStringAsync()).Should().Contain("Send the images again");
        retention.Look();
        InLedger(service, "source.expired").Should().Be(1, "once");

        service.Bring(files);
        await service.Until(() => service.Sources.Find(source.Id) is { ExpiredAt: null } back ? back : null, "it did not come back");
        Directory.GetFiles(images).Should().HaveCount(4);
        service.Sources.List(10).Should().ContainSingle("it is the same source");
        InLedger(service, "source.returned").Should().Be(1);
    }

    [Fact]
    public async Task Results_go_but_for_their_records_and_what_was_removed_half_is_finished()
    {
        await using var service = await RunningService.StartAsync(Data, s_settings);
        var id = Finished(service);
        var folder = Path.Combine(Data, "jobs", id, "1", "model");
        var retention = service.Parts.GetRequiredService<Retention>();
        Age(service, "UPDATE job SET ended_at = '2020-01-02T00:00:00.000Z'");
        // As if the service died after the event and before the files went.
        Age(service, $"UPDATE job SET expired_at = '2020-03-01T00:00:00.000Z' WHERE id = '{id}'");
        retention.Look();
        Directory.GetFileSystemEntries(folder).Select(Path.GetFileName).Should().BeEquivalentTo(["record.json", "run.json", "report.pdf"]);
        using var tom = await ServiceClient.AsAsync(service, Roles.Technician);
        (await tom.ReadAsync($"/api/v1/jobs/{id}/files")).GetProperty("items").GetArrayLength().Should().Be(3);
        Directory.CreateDirectory(Path.Combine(folder, "sections"));
        retention.Look();
        Directory.Exists(Path.Combine(folder, "sections")).Should().BeTrue("what is done is not looked at again");
    }

    [Fact]
    public async Task Without_a_policy_nothing_expires()
    {
        await using var service = await RunningService.StartAsync(Data, new { storage = new { leastFreeMegabytes = int.MaxValue } });
        var id = Finished(service);
        Age(service, "UPDATE job SET ended_at = '1999-01-02T00:00:00.000Z'");
        service.Parts.GetRequiredService<Retention>().Look();
        File.Exists(Path.Combine(Data, "jobs", id, "1", "model", "model.stl")).Should().BeTrue();
    }

    /// <summary>A finished job, without the work: its row and its files.</summary>
    private string Finished(RunningService service)
    {
        service.Bring(Phantom.Write(Phantom.Ball(slices: 2), _folder["ct"]));
        var source = service.Until(() => service.Sources.List(1) is [var only] ? only : null, "no source").Result;
        var job = service.Jobs.Create(new(AnatomyPrep.Records.Statements.Purpose.Education, "ball", null, "bone", null, null, null, source.Id), "tom", null);
        service.Jobs.Begin(job.Id);
        service.Jobs.Publish(job.Id, 1, holds: true).Should().BeTrue();
        var folder = Path.Combine(Data, "jobs", job.Id, "1", "model");
        Directory.CreateDirectory(Path.Combine(folder, "sections"));
        foreach (var name in new[] { "record.json", "run.json", "report.pdf", "model.stl", "preview.png", "sections/one.png" })
            File.WriteAllText(Path.Combine(folder, name), name);
        return job.Id;
    }

    private static int InLedger(RunningService service, string what)
    {
        var ledger = service.Parts.GetRequiredService<ServiceLedger>().Ledger;
        return Enumerable.Range(0, (int)ledger.Size()).Select(p => ledger.Event(p)!.Content).Count(e => e.Kind == LedgerEventKind.ServiceEvent && e.Read<ServiceEventBody>().What == what);
    }

    private static void Age(RunningService service, string sql) => service.Parts.GetRequiredService<Database>().Write(change => change.Execute(sql));

    private static void Sqlite(string path, string sql)
    {
        using var connection = new Microsoft.Data.Sqlite.SqliteConnection($"Data Source={path};Pooling=False");
        connection.Open();
        using var command = connection.CreateCommand();
#pragma warning disable CA2100 // Constants of the tests above.
        command.CommandText = sql;
#pragma warning restore CA2100
        command.ExecuteNonQuery();
    }
}
