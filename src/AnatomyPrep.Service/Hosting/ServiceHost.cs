using AnatomyPrep.Imaging.Acquire;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Service.Events;
using AnatomyPrep.Service.Intake;
using AnatomyPrep.Service.Receiving;
using AnatomyPrep.Service.Storage;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Hosting;
using Microsoft.AspNetCore.Http;
using Microsoft.Extensions.DependencyInjection;
using Microsoft.Extensions.Logging;

namespace AnatomyPrep.Service.Hosting;

/// <summary>What the program that starts the service gives it.</summary>
/// <param name="DataFolder">Root of the data folder.</param>
/// <param name="Url">Address of the page and the API.</param>
/// <param name="Reader">How to start the reader of untrusted images.</param>
public sealed record ServiceStart(string DataFolder, string Url, ReaderCommand Reader);

/// <summary>Puts the parts of the service together.</summary>
public static class ServiceHost
{
    /// <exception cref="Core.Findings.PlanException">Wrong settings.</exception>
    /// <exception cref="Core.Findings.BadInputException">The data folder is in use.</exception>
    public static WebApplication Create(ServiceStart start, TimeProvider clock, Action<IServiceCollection> addLog)
    {
        var builder = WebApplication.CreateSlimBuilder(new WebApplicationOptions { ContentRootPath = AppContext.BaseDirectory });
        builder.WebHost.UseUrls(start.Url);
        builder.Logging.ClearProviders();
        addLog(builder.Services);
        AddParts(builder.Services, start, clock);
        var app = builder.Build();
        try
        {
            // Opened here, so that a wrong setting or a second service ends the command with its reason.
            app.Services.GetRequiredService<DataFolder>();
            app.Services.GetRequiredService<ServiceSettings>();
        }
        catch
        {
            ((IDisposable)app).Dispose();
            throw;
        }

        app.MapGet("/health/live", () => Results.Text("alive"));
        return app;
    }

    /// <summary>The receiver's port, once it listens.</summary>
    public static Task<int> ReceiverPort(WebApplication app) => app.Services.GetRequiredService<Receiver>().Port;

    private static void AddParts(IServiceCollection services, ServiceStart start, TimeProvider clock)
    {
        services.AddSingleton(clock);
        services.AddSingleton(_ => new DataFolder(start.DataFolder));
        services.AddSingleton(s => ServiceSettings.Read(s.GetRequiredService<DataFolder>().Settings));
        services.AddSingleton(s => new Database(s.GetRequiredService<DataFolder>().Database, EventLog.Schema, SourceStore.Schema, QuarantineStore.Schema));
        services.AddSingleton<EventLog>();
        services.AddSingleton<IEventSink>(s => s.GetRequiredService<EventLog>());
        services.AddSingleton<SourceStore>();
        services.AddSingleton<QuarantineStore>();
        services.AddSingleton(s => new KeyFolder(s.GetRequiredService<DataFolder>().Keys).OpenSiteKey());
        services.AddSingleton(new ArrivalReader(start.Reader));
        services.AddSingleton<ArrivalBoard>();
        services.AddSingleton<SeriesIntake>();
        services.AddHostedService<IntakeService>();
        services.AddSingleton<Receiver>();
        services.AddHostedService(s => s.GetRequiredService<Receiver>());
    }
}
