using System.Net;
using System.Net.Http.Json;
using System.Text.Json;
using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Service.Jobs;

namespace AnatomyPrep.Tests.Service.Intake;

/// <summary>A real series is dropped into the watched folder; all that people do afterwards is sign.</summary>
public sealed class DroppedSeriesTests : IDisposable
{
    private const string Passphrase = "a passphrase nobody logs";

    private readonly TestFolder _folder = new();

    public void Dispose() => _folder.Dispose();

    [Fact]
    [Trait("Kind", "Slow")]
    [Trait("Needs", "Shared")]
    public async Task A_dropped_real_series_becomes_a_released_model_with_its_record()
    {
        var watched = Directory.CreateDirectory(_folder["watched"]).FullName;
        await using var service = await RunningService.StartAsync(_folder["data"], new { intake = new { watchedFolder = watched, settleSeconds = 1, quietSeconds = 1 } });
        using var ada = await ServiceClient.AsAsync(service, Roles.Administrator, "ada");
        using var cora = await ServiceClient.AsAsync(service, Roles.Coordinator, "cora");
        using var tom = await ServiceClient.AsAsync(service, Roles.Technician, "tom");
        using var quinn = await ServiceClient.AsAsync(service, Roles.QualityOfficer, "quinn");
        await Signed(ada, "me/key", new { passphrase = Passphrase, name = "Ada" });
        foreach (var (client, role) in new[] { (cora, "coordinator"), (tom, "technician"), (quinn, "qualityOfficer") })
        {
            var key = (await Signed(client, "me/key", new { passphrase = Passphrase, name = role })).GetProperty("key").GetString();
            var person = (await client.ReadAsync("/api/v1/session")).GetProperty("name").GetString();
            await Signed(ada, $"people/{person}/admit", new { passphrase = Passphrase, key, roles = new[] { role } });
        }

        // The patient id of the series' headers, as the ward knows it. The phantom is "PLASTIC" (PROVENANCE.md of the data).
        using var made = await cora.SendAsync(HttpMethod.Post, "/api/v1/requests/", new { purpose = "education", anatomy = "skull", plan = "bone", patientId = "PLASTIC" });
        var request = (await made.Content.ReadFromJsonAsync<JsonElement>()).GetProperty("id").GetString()!;

        // The drop: nothing else is done until there is something to sign.
        Copy(SharedData.Series("head-phantom-1mm"), Path.Combine(watched, "delivery"));
        var done = await service.Until(() => service.Requests.Find(request) is { JobId: { } job } && service.Jobs.Find(job) is { EndedAt: not null } ended ? ended : null, "no model");
        done.State.Should().Be(JobState.Done, done.Reason);
        done.Holds.Should().BeTrue();

        var model = $"models/M-{done.Id}/1";
        await Signed(tom, $"{model}/review", new { passphrase = Passphrase });
        foreach (var finding in (await tom.ReadAsync($"/api/v1/ledger/{model}")).GetProperty("facts").GetProperty("openCautions").EnumerateArray())
            await Signed(quinn, $"{model}/acknowledge", new { passphrase = Passphrase, finding = finding.GetString(), reason = "Known of this phantom." });
        var released = await Signed(quinn, $"{model}/release", new { passphrase = Passphrase });
        released.GetProperty("model").GetProperty("stage").GetString().Should().Be("released");

        var files = (await quinn.ReadAsync($"/api/v1/jobs/{done.Id}/files")).GetProperty("items").EnumerateArray().ToArray();
        files.Select(f => f.GetProperty("name").GetString()).Should().Contain(["model.stl", "model.3mf", "model.ply", "record.json", "report.pdf", "preview.png", "run.json"]);
        foreach (var file in files)
        {
            using var answer = await quinn.SendAsync(HttpMethod.Get, file.GetProperty("url").GetString()!);
            var target = Path.Combine(_folder["fetched"], file.GetProperty("name").GetString()!);
            Directory.CreateDirectory(Path.GetDirectoryName(target)!);
            await File.WriteAllBytesAsync(target, await answer.Content.ReadAsByteArrayAsync());
        }

        var (exit, _, errors) = TestProgram.Run(_folder["home"], "verify", _folder["fetched"]);
        exit.Should().Be(0, errors);
        Directory.GetFiles(Path.Combine(watched, "delivery")).Should().HaveCount(140, "the folder is never changed");
    }

    private static void Copy(string from, string to)
    {
        Directory.CreateDirectory(to);
        foreach (var file in Directory.GetFiles(from, "*", SearchOption.AllDirectories))
            File.Copy(file, Path.Combine(to, Path.GetFileName(file)));
    }

    private static async Task<JsonElement> Signed(ServiceClient client, string act, object body)
    {
        using var answer = await client.SendAsync(HttpMethod.Post, $"/api/v1/ledger/{act}", body);
        answer.StatusCode.Should().Be(HttpStatusCode.OK, "{0}: {1}", act, await answer.Content.ReadAsStringAsync());
        return await answer.Content.ReadFromJsonAsync<JsonElement>();
    }
}
