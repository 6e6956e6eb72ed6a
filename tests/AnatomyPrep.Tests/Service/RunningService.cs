using System.Diagnostics;
using System.Globalization;
using System.Text.Json;
using AnatomyPrep.Service.Hosting;
using AnatomyPrep.Service.Intake;
using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Service.Jobs;
using AnatomyPrep.Service.Storage;
using Microsoft.AspNetCore.Builder;
using Microsoft.Extensions.DependencyInjection;
using Microsoft.Extensions.Logging;

namespace AnatomyPrep.Tests.Service;

/// <summary>The whole service in this process, on free ports of loopback, with a log that tests can read.</summary>
internal sealed class RunningService : IAsyncDisposable
{
    private readonly WebApplication _app;

    private RunningService(WebApplication app, string data, KeptLog log) => (_app, Data, Log) = (app, data, log);

    public string Data { get; }

    public KeptLog Log { get; }

    public AnatomyPrep.Service.Events.EventLog Events => _app.Services.GetRequiredService<AnatomyPrep.Service.Events.EventLog>();

    public SourceStore Sources => _app.Services.GetRequiredService<SourceStore>();

    public QuarantineStore Quarantine => _app.Services.GetRequiredService<QuarantineStore>();

    public AnatomyPrep.Service.Requests.RequestStore Requests => _app.Services.GetRequiredService<AnatomyPrep.Service.Requests.RequestStore>();

    public JobStore Jobs => _app.Services.GetRequiredService<JobStore>();

    public AccountStore Accounts => _app.Services.GetRequiredService<AccountStore>();

    public IServiceProvider Parts => _app.Services;

    public Uri Address => new(_app.Urls.First());

    public int ReceiverPort { get; private set; }

    public static async Task<RunningService> StartAsync(string data, object settings, TimeProvider? clock = null)
    {
        Directory.CreateDirectory(data);
        await File.WriteAllTextAsync(Path.Combine(data, "settings.json"), JsonSerializer.Serialize(settings));
        var log = new KeptLog();
        var app = ServiceHost.Create(TestService.Start(data), clock ?? TimeProvider.System, services => services.AddSingleton<ILoggerProvider>(log));
        var service = new RunningService(app, data, log);
        await app.StartAsync();
        if (app.Services.GetRequiredService<ServiceSettings>().Receiver.Enabled)
            service.ReceiverPort = await ServiceHost.ReceiverPort(app).WaitAsync(TimeSpan.FromSeconds(20));
        return service;
    }

    /// <summary>A receiver on a free port that takes the titles, and files a series after a short quiet time.</summary>
    public static object Receiver(params string[] callingTitles) =>
        new { receiver = new { enabled = true, port = 0, callingTitles }, intake = new { quietSeconds = 0.6 } };

    public async Task<T> Until<T>(Func<T?> look, string what)
        where T : class
    {
        var begin = Stopwatch.GetTimestamp();
        while (Stopwatch.GetElapsedTime(begin) < TimeSpan.FromSeconds(120))
        {
            if (look() is { } found)
                return found;
            await Task.Delay(20);
        }

        throw new TimeoutException($"{what}; events: {string.Join("; ", Events.After(0, 50).Select(e => $"{e.Event.Kind} {e.Event.Code} {e.Event.Detail}"))}; log: {Log.Text}");
    }

    /// <summary>Puts files where an arrival would put them; they become a source as any others do.</summary>
    public void Bring(IEnumerable<string> files) => Bring(files, Data);

    /// <summary>The same for a service that runs in another process.</summary>
    public static void Bring(IEnumerable<string> files, string data)
    {
        var aside = Directory.CreateDirectory(Path.Combine(data, "brought")).FullName;
        foreach (var file in files)
            File.Copy(file, Path.Combine(aside, Path.GetFileName(file)));
        Directory.Move(aside, Path.Combine(data, "arrived", $"b-{Guid.NewGuid():N}"));
    }

    /// <summary>Waits until exactly what came in is sorted and no series is open.</summary>
    public Task Settled() => Until(
        () => new[] { "receiving", "arrived", "series" }.All(f => Directory.GetFileSystemEntries(Path.Combine(Data, f)).Length == 0) ? "settled" : null,
        "the intake does not come to rest");

    public async ValueTask DisposeAsync()
    {
        await _app.StopAsync();
        await _app.DisposeAsync();
    }
}

/// <summary>What the service of tests is started with.</summary>
internal static class TestService
{
    private static readonly AnatomyPrep.App.Pipeline.Workbench s_bench = new(new(Path.GetTempPath()), AnatomyPrep.App.Pipeline.StepCatalog.Create(), TimeProvider.System);

    public static ServiceStart Start(string data) =>
        AnatomyPrep.App.Cli.ServeCommand.StartOf(s_bench, data, "http://127.0.0.1:0") with { Program = TestProgram.Command, Reader = TestProgram.Reader, SafetyNotice = "education and planning only" };
}

/// <summary>Everything that was logged, as one text.</summary>
internal sealed class KeptLog : ILoggerProvider, ILogger
{
    private readonly List<string> _lines = [];

    public string Text
    {
        get
        {
            lock (_lines)
                return string.Join('\n', _lines);
        }
    }

    public ILogger CreateLogger(string categoryName) => this;

    public IDisposable? BeginScope<TState>(TState state)
        where TState : notnull => null;

    public bool IsEnabled(LogLevel logLevel) => logLevel >= LogLevel.Information;

    public void Log<TState>(LogLevel logLevel, EventId eventId, TState state, Exception? exception, Func<TState, Exception?, string> formatter)
    {
        lock (_lines)
            _lines.Add(string.Create(CultureInfo.InvariantCulture, $"{logLevel} {formatter(state, exception)} {exception}"));
    }

    public void Dispose()
    {
    }
}
