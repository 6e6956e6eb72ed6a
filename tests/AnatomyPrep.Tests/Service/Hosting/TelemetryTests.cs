using System.Net;
using System.Text;
using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Service.Jobs;
using AnatomyPrep.Tests.Service.Messages;

namespace AnatomyPrep.Tests.Service.Hosting;

/// <summary>What happens can be measured from outside, by those who may, and names nobody.</summary>
public sealed class TelemetryTests : IDisposable
{
    private readonly TestFolder _folder = new();

    public void Dispose() => _folder.Dispose();

    [Fact]
    public async Task Prometheus_reads_queue_and_disk_where_it_may_and_nothing_elsewhere()
    {
        await using (var service = await RunningService.StartAsync(_folder["a"], new { storage = new { leastFreeMegabytes = int.MaxValue }, telemetry = new { prometheusNetworks = new[] { "127.0.0.0/8" } } }))
        {
            using var tom = await ServiceClient.AsAsync(service, Roles.Technician);
            await tom.SendAsync(HttpMethod.Post, "/api/v1/jobs/", new { purpose = "education", anatomy = "skull", plan = "bone", patientId = "INVENTED-9" });
            using var nobody = new HttpClient { BaseAddress = service.Address };
            var text = await nobody.GetStringAsync("/metrics");
            text.Should().MatchRegex("anatomyprep_jobs\\S*\\{[^}]*state=\"waiting\"[^}]*\\} 1").And.MatchRegex("anatomyprep_jobs\\S*\\{[^}]*state=\"done\"[^}]*\\} 0")
                .And.Contain("anatomyprep_disk_free").And.Contain("anatomyprep_messages_pending").And.NotContain("INVENTED");
        }

        foreach (var networks in new[] { Array.Empty<string>(), ["10.0.0.0/8"] })
        {
            await using var closed = await RunningService.StartAsync(_folder["b"], new { telemetry = new { prometheusNetworks = networks } });
            using var nobody = new HttpClient { BaseAddress = closed.Address };
            (await nobody.GetAsync("/metrics")).StatusCode.Should().Be(HttpStatusCode.Unauthorized, "as every address that is nobody's");
        }
    }

    [Fact]
    [Trait("Kind", "Slow")]
    public async Task A_job_is_a_trace_with_its_stages_at_a_collector_and_its_times_are_metrics()
    {
        using var collector = new Listener { Answer = _ => 200 };
        var files = Phantom.Write(Phantom.Bones(), _folder["ct"]);
        await using (var service = await RunningService.StartAsync(
            _folder["data"], new { intake = new { quietSeconds = 0.3 }, telemetry = new { otlpEndpoint = $"http://127.0.0.1:{collector.Port}", intervalSeconds = 1, prometheusNetworks = new[] { "127.0.0.0/8" } } }))
        {
            using var tom = await ServiceClient.AsAsync(service, Roles.Technician);
            service.Bring(files);
            var source = await service.Until(() => service.Sources.List(1) is [var only] ? only : null, "no source");
            await tom.SendAsync(HttpMethod.Post, "/api/v1/jobs/", new { purpose = "education", anatomy = "shells", plan = "bone", sourceId = source.Id });
            var done = await service.Until(() => service.Jobs.List(1) is [{ EndedAt: not null } ended] ? ended : null, "no end");
            done.State.Should().Be(JobState.Done, done.Reason);
            using var nobody = new HttpClient { BaseAddress = service.Address };
            var text = await service.Until(() => nobody.GetStringAsync("/metrics").Result is var t && t.Contains("anatomyprep_job_duration", StringComparison.Ordinal) ? t : null, "no metric of the job");
            text.Should().MatchRegex("anatomyprep_stage_duration_seconds_count\\S*\\{[^}]*stage=\"[^\"]*threshold[^\"]*\"").And.Contain("anatomyprep_worker_peak").And.Contain("outcome=\"done\"").And.Contain("anatomyprep_job_wait");
        }

        var sent = collector.Requests.ToLookup(r => r.Path, r => Encoding.Latin1.GetString(r.Body));
        sent["/v1/metrics"].Should().Contain(b => b.Contains("anatomyprep.jobs", StringComparison.Ordinal));
        sent["/v1/traces"].Should().Contain(b => b.Contains("job.attempt", StringComparison.Ordinal) && b.Contains("threshold", StringComparison.Ordinal));
        string.Concat(sent.SelectMany(s => s)).Should().NotContain("INVENTED-0001");
    }
}
