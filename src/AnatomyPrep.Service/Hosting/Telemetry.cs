using System.Collections.Concurrent;
using System.Data.Common;
using System.Diagnostics;
using System.Diagnostics.Metrics;
using System.Globalization;
using AnatomyPrep.Service.Jobs;
using AnatomyPrep.Service.Messages;
using AnatomyPrep.Service.Storage;
using Microsoft.AspNetCore.Builder;
using Microsoft.Extensions.DependencyInjection;
using OpenTelemetry.Exporter;
using OpenTelemetry.Metrics;
using OpenTelemetry.Resources;
using OpenTelemetry.Trace;

namespace AnatomyPrep.Service.Hosting;

/// <summary>Metrics and traces of the service (OpenTelemetry): queue, stages, memory, disk. No number or word of a person is in them.</summary>
/// <remarks>Gauges ask the database when somebody collects; while it does not answer they say nothing, and the rest goes on.</remarks>
internal sealed class Telemetry : IDisposable
{
    public const string Name = "AnatomyPrep.Service";

    private static readonly double[] s_secondsBounds = [0.1, 0.25, 0.5, 1, 2.5, 5, 10, 30, 60, 120, 300, 600, 1800, 3600, 7200];

    private readonly Meter _meter = new(Name);
    private readonly ActivitySource _traces = new(Name);
    private readonly ConcurrentDictionary<string, (long Now, long Peak)> _memory = new(StringComparer.Ordinal);
    private readonly Histogram<double> _stage;
    private readonly Histogram<double> _job;
    private readonly Histogram<double> _wait;
    private readonly Histogram<long> _peak;
    private readonly TimeProvider _clock;

    public Telemetry(Database database, MessageOutbox outbox, DataFolder folder, TimeProvider clock)
    {
        _clock = clock;
        _stage = _meter.CreateHistogram<double>("anatomyprep.stage.duration", "s", "Time of one stage of a job");
        _job = _meter.CreateHistogram<double>("anatomyprep.job.duration", "s", "Time of one attempt of a job");
        _wait = _meter.CreateHistogram<double>("anatomyprep.job.wait", "s", "Time from asking for a job to the start of an attempt");
        _peak = _meter.CreateHistogram<long>("anatomyprep.worker.peak", "By", "Largest resident memory of a worker");
        _meter.CreateObservableGauge("anatomyprep.jobs", () => Asked(() => JobsByState(database)), "{job}", "Jobs by state");
        _meter.CreateObservableGauge("anatomyprep.messages.pending", () => Asked(() => [new Measurement<long>(outbox.Waiting())]), "{message}", "Messages that wait to be delivered");
        _meter.CreateObservableGauge("anatomyprep.workers.memory", () => _memory.Values.Sum(m => m.Now), "By", "Resident memory of all workers");
        _meter.CreateObservableGauge("anatomyprep.disk.free", () => new DriveInfo(folder.Root).AvailableFreeSpace, "By", "Free space of the data folder");
    }

    /// <summary>Notes what a worker uses now.</summary>
    public void Memory(string job, int process)
    {
        if (Resident(process) is { } now)
            _memory.AddOrUpdate(job, (now, now), (_, before) => (now, Math.Max(now, before.Peak)));
    }

    /// <summary>An attempt begins; ends with <see cref="Ended"/>.</summary>
    public Activity? Began(JobEntry job)
    {
        if (job.StartedAt is { } started)
            _wait.Record(Math.Max(0, (started - job.CreatedAt).TotalSeconds));
        return _traces.StartActivity("job", ActivityKind.Internal, default(ActivityContext), [new("job.id", job.Id), new("request.id", job.Request.RequestId), new("job.attempt", job.Attempt), new("plan", job.Request.Plan)]);
    }

    /// <summary>An attempt has ended: its stages become metrics and spans.</summary>
    /// <param name="began">When its worker was started.</param>
    public void Ended(JobEntry job, Activity? span, DateTimeOffset began, IReadOnlyList<StageMark> stages, JobState? state)
    {
        var seconds = (_clock.GetUtcNow() - began).TotalSeconds;
        var outcome = (state?.ToString() ?? "unknown").ToLowerInvariant();
        _job.Record(Math.Max(0, seconds), new KeyValuePair<string, object?>("outcome", outcome));
        if (_memory.TryRemove(job.Id, out var used))
            _peak.Record(used.Peak);
        for (var k = 0; k < stages.Count; k++)
        {
            var end = k + 1 < stages.Count ? stages[k + 1].Seconds : Math.Max(seconds, stages[k].Seconds);
            _stage.Record(end - stages[k].Seconds, new KeyValuePair<string, object?>("stage", stages[k].Stage));
            using var part = span is null ? null : _traces.StartActivity(stages[k].Stage, ActivityKind.Internal, span.Context, startTime: began.AddSeconds(stages[k].Seconds));
            part?.SetEndTime(began.AddSeconds(end).UtcDateTime);
        }

        span?.SetTag("job.outcome", outcome);
        span?.Dispose();
    }

    public void Dispose()
    {
        _meter.Dispose();
        _traces.Dispose();
    }

    public static void Add(IServiceCollection services, TelemetrySettings settings)
    {
        services.AddSingleton<Telemetry>();
        if (settings.OtlpEndpoint is null && settings.PrometheusNetworks.Count == 0)
            return;
        var open = services.AddOpenTelemetry().ConfigureResource(r => r.AddService("anatomyprep", serviceVersion: typeof(Telemetry).Assembly.GetName().Version?.ToString()));
        open.WithMetrics(metrics =>
        {
            metrics.AddMeter(Name).AddRuntimeInstrumentation().AddAspNetCoreInstrumentation()
                .AddView(i => i.Unit == "s" && i.Name.StartsWith("anatomyprep.", StringComparison.Ordinal) ? new ExplicitBucketHistogramConfiguration { Boundaries = s_secondsBounds } : null);
            if (settings.PrometheusNetworks.Count > 0)
                metrics.AddPrometheusExporter();
            if (settings.OtlpEndpoint is { } to)
                metrics.AddOtlpExporter((exporter, reader) =>
                {
                    Send(exporter, to, "metrics");
                    reader.PeriodicExportingMetricReaderOptions.ExportIntervalMilliseconds = settings.IntervalSeconds * 1000;
                });
        });
        if (settings.OtlpEndpoint is { } collector)
            open.WithTracing(traces => traces.AddSource(Name).AddAspNetCoreInstrumentation().AddOtlpExporter(exporter => Send(exporter, collector, "traces")));
    }

    /// <summary>The address for Prometheus, for those who may read it.</summary>
    public static void Map(WebApplication app, TelemetrySettings settings)
    {
        if (settings.PrometheusNetworks.Count > 0)
            app.UseOpenTelemetryPrometheusScrapingEndpoint(context => context.Request.Path == "/metrics" && settings.IsReadBy(context.Connection.RemoteIpAddress));
    }

    private static void Send(OtlpExporterOptions exporter, string to, string what)
    {
        exporter.Protocol = OtlpExportProtocol.HttpProtobuf;
        exporter.Endpoint = new Uri($"{to.TrimEnd('/')}/v1/{what}");
    }

    private static IEnumerable<Measurement<long>> Asked(Func<IEnumerable<Measurement<long>>> ask)
    {
        try
        {
            return ask();
        }
        catch (DbException)
        {
            return [];
        }
    }

    private static IEnumerable<Measurement<long>> JobsByState(Database database)
    {
        var counts = database.Read("SELECT state, COUNT(*) FROM job GROUP BY state", r => (State: r.GetString(0), Count: r.GetInt64(1))).ToDictionary(c => c.State, c => c.Count);
        return Enum.GetNames<JobState>().Select(s => new Measurement<long>(counts.GetValueOrDefault(s), new KeyValuePair<string, object?>("state", s.ToLowerInvariant())));
    }

    /// <summary>Null where there is no such process any more.</summary>
    private static long? Resident(int process)
    {
        try
        {
            var found = File.ReadLines($"/proc/{process}/status").FirstOrDefault(l => l.StartsWith("VmRSS:", StringComparison.Ordinal));
            return found?.Split(' ', StringSplitOptions.RemoveEmptyEntries) is [.., var kib, "kB"] ? long.Parse(kib, CultureInfo.InvariantCulture) << 10 : null;
        }
        catch (IOException)
        {
            return null;
        }
    }
}
