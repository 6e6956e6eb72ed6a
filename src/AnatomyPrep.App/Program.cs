using System.CommandLine;
using AnatomyPrep.App.Cli;
using AnatomyPrep.App.Pipeline;
using AnatomyPrep.Imaging.Acquire;
using Microsoft.Extensions.DependencyInjection;
using Microsoft.Extensions.Hosting;
using Microsoft.Extensions.Logging;
using Serilog;
using Serilog.Events;

namespace AnatomyPrep.App;

internal static class Program
{
    /// <summary>Hidden command that turns this program into the reader of untrusted images.</summary>
    public const string ReaderCommand = "reader-child";

    private static async Task<int> Main(string[] args)
    {
        // The reader child parses untrusted files: it gets no host, no log file, no keys.
        if (args is [ReaderCommand])
            return ReaderChild.Run(Console.OpenStandardInput(), Console.OpenStandardOutput());

        var folders = AppFolders.FromEnvironment();
        using var host = CreateHost(folders);
        var context = host.Services.GetRequiredService<CommandContext>();
        return await CommandLine.InvokeAsync(context, args).ConfigureAwait(false);
    }

    private static IHost CreateHost(AppFolders folders)
    {
        var builder = Host.CreateEmptyApplicationBuilder(null);
        builder.Services.AddSingleton(folders);
        builder.Services.AddSingleton(StepCatalog.Create());
        builder.Services.AddSingleton<Output>();
        builder.Services.AddSingleton(TimeProvider.System);
        builder.Services.AddSingleton<Workbench>();
        builder.Services.AddSingleton<CommandContext>();
        AddLog(builder.Services, folders);
        return builder.Build();
    }

    /// <summary>Logs of a command, or of the service, in its own folder.</summary>
    public static void AddLog(IServiceCollection services, AppFolders folders) => services.AddSerilog(ConfigureLog(folders), dispose: true);

    // People read the console; the file keeps the detail. Neither ever holds patient data.
    private static Serilog.Core.Logger ConfigureLog(AppFolders folders) => new LoggerConfiguration()
        .MinimumLevel.Information()
        .MinimumLevel.Override("Microsoft", LogEventLevel.Warning)
        .MinimumLevel.Override("Quartz", LogEventLevel.Warning)
        .WriteTo.Console(
            restrictedToMinimumLevel: LogEventLevel.Warning,
            standardErrorFromLevel: LogEventLevel.Verbose,
            formatProvider: System.Globalization.CultureInfo.InvariantCulture,
            outputTemplate: "{Level:u3} {Message:lj}{NewLine}")
        .WriteTo.File(
            Path.Combine(folders.Logs, "anatomyprep-.log"),
            rollingInterval: RollingInterval.Day,
            retainedFileCountLimit: 31,
            shared: true,
            formatProvider: System.Globalization.CultureInfo.InvariantCulture,
            // Ids of job, request for a model and request to the API, where a line belongs to one. No other property: addresses hold words of strangers.
            outputTemplate: "{Timestamp:yyyy-MM-dd HH:mm:ss.fff zzz} [{Level:u3}] {Job:l} {ModelRequest:l} {RequestId:l} {Message:lj}{NewLine}{Exception}")
        .CreateLogger();
}
