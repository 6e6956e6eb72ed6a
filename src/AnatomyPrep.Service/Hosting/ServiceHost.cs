using System.Data.Common;
using System.Net;
using System.Security.Cryptography.X509Certificates;
using System.Text.Json;
using System.Text.Json.Serialization;
using System.Threading.RateLimiting;
using AnatomyPrep.Imaging.Acquire;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Service.Api;
using AnatomyPrep.Service.Dicomweb;
using AnatomyPrep.Service.Events;
using AnatomyPrep.Service.Intake;
using AnatomyPrep.Service.Jobs;
using AnatomyPrep.Service.Ledgers;
using AnatomyPrep.Service.Messages;
using AnatomyPrep.Service.Receiving;
using AnatomyPrep.Service.Remarks;
using AnatomyPrep.Service.Requests;
using AnatomyPrep.Service.Storage;
using AnatomyPrep.Service.Viewing;
using Microsoft.AspNetCore.Authorization;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Hosting;
using Microsoft.AspNetCore.Http;
using Microsoft.AspNetCore.RateLimiting;
using Microsoft.AspNetCore.Server.Kestrel.Core;
using Microsoft.Extensions.DependencyInjection;
using Microsoft.Extensions.Hosting;
using Microsoft.Extensions.Logging;
using Quartz;

namespace AnatomyPrep.Service.Hosting;

/// <summary>What the program that starts the service gives it.</summary>
/// <param name="DataFolder">Root of the data folder.</param>
/// <param name="Url">Address of the page and the API.</param>
/// <param name="Program">How to start the program itself, for each job; the command follows.</param>
/// <param name="Reader">How to start the reader of untrusted images.</param>
/// <param name="Plans">The presets.</param>
/// <param name="Profiles">Process profiles.</param>
/// <param name="SafetyNotice">What stands on the page.</param>
public sealed record ServiceStart(string DataFolder, string Url, ReaderCommand Program, ReaderCommand Reader, IReadOnlyList<CatalogueText> Plans, IReadOnlyList<CatalogueText> Profiles, string SafetyNotice);

/// <summary>Puts the parts of the service together.</summary>
public static class ServiceHost
{
    private const long LargestBodyBytes = 1 << 20;
    private const int TriesPerMinute = 60;
    private const int RequestsAtOnce = 1000;
    private const int RequestsPerSecond = 200;

    private static readonly TimeSpan s_stopTime = TimeSpan.FromSeconds(20);

    /// <exception cref="Core.Findings.PlanException">Wrong settings.</exception>
    /// <exception cref="Core.Findings.BadInputException">The data folder is in use.</exception>
    public static WebApplication Create(ServiceStart start, TimeProvider clock, Action<IServiceCollection> addLog)
    {
        // Opened here, so that a wrong setting or a second service ends the command with its reason.
        var folder = new DataFolder(start.DataFolder);
        try
        {
            var settings = ServiceSettings.Read(folder.Settings);
            folder.Place(settings.Storage.SharedFolder);
            var builder = WebApplication.CreateSlimBuilder(new WebApplicationOptions { ContentRootPath = AppContext.BaseDirectory });
            builder.WebHost.UseUrls(start.Url).UseKestrelHttpsConfiguration();
            builder.WebHost.ConfigureKestrel(kestrel => Limit(kestrel, settings.Page));
            builder.Logging.ClearProviders();
            addLog(builder.Services);
            builder.Services.AddSingleton(start).AddSingleton(settings).AddSingleton(clock);
            // By a factory, so that it is closed, and its lock let go, with the rest.
            builder.Services.AddSingleton(_ => folder);
            AddStorage(builder.Services);
            AddIntake(builder.Services, start);
            AddJobs(builder.Services, folder, settings);
            builder.Services.AddLedger(settings);
            builder.Services.AddHostedService<MessagePump>();
            builder.Services.AddSingleton<ClockWatch>();
            builder.Services.AddHostedService(s => s.GetRequiredService<ClockWatch>());
            builder.Services.AddSingleton<Retention>();
            builder.Services.AddHostedService(s => s.GetRequiredService<Retention>());
            AddWeb(builder.Services);
            if (settings.SignIn is { } signIn)
                ExternalSignIn.Add(builder.Services, signIn);
            Telemetry.Add(builder.Services, settings.Telemetry);
            var app = builder.Build();
            app.Services.GetRequiredService<DataFolder>();
            app.Services.GetRequiredService<ServiceLedger>();
            Map(app);
            return app;
        }
        catch
        {
            folder.Dispose();
            throw;
        }
    }

    /// <summary>The receiver's port, once it listens.</summary>
    public static Task<int> ReceiverPort(WebApplication app) => app.Services.GetRequiredService<Receiver>().Port;

    /// <summary>The secret of the first administrator's invitation; null once there is an account.</summary>
    public static string? InviteFirst(WebApplication app) => app.Services.GetRequiredService<AccountStore>().InviteFirst();

    private static void AddStorage(IServiceCollection services)
    {
        services.AddSingleton(s => ServiceTables.Open(s.GetRequiredService<DataFolder>(), s.GetRequiredService<ServiceSettings>().Storage));
        services.AddSingleton<MessageOutbox>();
        services.AddSingleton<EventLog>();
        services.AddSingleton<IEventSink>(s => s.GetRequiredService<EventLog>());
        services.AddSingleton<SourceStore>();
        services.AddSingleton<QuarantineStore>();
        services.AddSingleton<JobStore>();
        services.AddSingleton<RequestStore>();
        services.AddSingleton<RemarkStore>();
        services.AddSingleton<AccountStore>();
        services.AddSingleton(s => new KeyFolder(s.GetRequiredService<DataFolder>().Keys).OpenSiteKey());
        services.AddSingleton<DiskGuard>();
    }

    private static void AddIntake(IServiceCollection services, ServiceStart start)
    {
        services.AddSingleton(new ArrivalReader(start.Reader));
        services.AddSingleton<ArrivalBoard>();
        services.AddSingleton<SeriesIntake>();
        services.AddSingleton<WatchedFolder>();
        services.AddSingleton<UploadStore>();
        services.AddSingleton<DicomParts>();
        services.AddSingleton<Archives>();
        services.AddHostedService<IntakeService>();
        services.AddSingleton<Receiver>();
        services.AddHostedService(s => s.GetRequiredService<Receiver>());
    }

    private static void AddJobs(IServiceCollection services, DataFolder folder, ServiceSettings settings)
    {
        services.AddSingleton<ProgramChild>();
        services.AddSingleton<CommandDesk>();
        services.AddSingleton<JobRunner>();
        services.AddHostedService<JobPump>();
        services.AddQuartz(quartz =>
        {
            quartz.UseDefaultThreadPool(settings.Jobs.Workers);
            quartz.UsePersistentStore(store =>
            {
                if (settings.Storage.Database is { } server)
                {
                    store.UsePostgres(Database.Limited(server));
                    store.UseClustering(cluster => cluster.CheckinInterval = TimeSpan.FromSeconds(2));
                }
                else
                {
                    store.UseSqlite($"Data Source={folder.Engine}");
                }

                store.UseSystemTextJsonSerializer();
                store.ProvisionSchema();
            });
        });
        services.AddQuartzHostedService(options => options.WaitForJobsToComplete = true);
        services.Configure<HostOptions>(options => options.ShutdownTimeout = s_stopTime);
    }

    private static void AddWeb(IServiceCollection services)
    {
        services.ConfigureHttpJsonOptions(json =>
        {
            json.SerializerOptions.Converters.Add(new JsonStringEnumConverter(JsonNamingPolicy.CamelCase, allowIntegerValues: false));
            // A number is a number: so the document says too, and clients made from it.
            json.SerializerOptions.NumberHandling = JsonNumberHandling.Strict;
            json.SerializerOptions.RespectNullableAnnotations = true;
            json.SerializerOptions.RespectRequiredConstructorParameters = true;
        });
        services.AddProblemDetails();
        services.AddExceptionHandler<Problems>();
        // The core of it only: the rest would keep keys, which nothing here needs, in the home folder of the user.
        services.AddAuthenticationCore(options =>
        {
            options.DefaultScheme = SessionHandler.SchemeName;
            options.AddScheme<SessionHandler>(SessionHandler.SchemeName, null);
        });
        services.AddWebEncoders();
        services.AddSingleton<Pages>();
        services.AddSingleton<VolumeCache>();
        services.AddSingleton<VertexValues>();
        services.AddSingleton<PlanTexts>();
        services.AddSingleton<EditedPlans>();
        services.AddTransient<SessionHandler>();
        // Whatever says nothing of its own is for nobody.
        services.AddAuthorizationBuilder().SetFallbackPolicy(new AuthorizationPolicyBuilder().RequireAssertion(_ => false).Build());
        services.AddSingleton<IAuthorizationMiddlewareResultHandler, RefusalRecorder>();
        services.AddRateLimiter(limiter =>
        {
            limiter.RejectionStatusCode = StatusCodes.Status429TooManyRequests;
            limiter.GlobalLimiter = PartitionedRateLimiter.Create<HttpContext, IPAddress>(context => RateLimitPartition.GetTokenBucketLimiter(
                context.Connection.RemoteIpAddress ?? IPAddress.None,
                _ => new() { TokenLimit = RequestsAtOnce, TokensPerPeriod = RequestsPerSecond, ReplenishmentPeriod = TimeSpan.FromSeconds(1) }));
            limiter.AddPolicy(AccountApi.TriesLimit, context => RateLimitPartition.GetFixedWindowLimiter(
                context.Connection.RemoteIpAddress ?? IPAddress.None, _ => new() { PermitLimit = TriesPerMinute, Window = TimeSpan.FromMinutes(1) }));
        });
        // 3.0: what most generators of clients read.
        services.AddOpenApi("v1", options =>
        {
            options.OpenApiVersion = Microsoft.OpenApi.OpenApiSpecVersion.OpenApi3_0;
            options.AddDocumentTransformer((document, _, _) => ApiDocument.Complete(document));
        });
    }

    private static void Map(WebApplication app)
    {
        app.UseSafeHeaders();
        app.UseRequestLog();
        app.UseExceptionHandler();
        app.UseStatusCodePages();
        Telemetry.Map(app, app.Services.GetRequiredService<ServiceSettings>().Telemetry);
        app.UseRouting();
        app.UseRateLimiter();
        app.UseAuthentication();
        app.UseAuthorization();
        app.MapGet("/health/live", () => Results.Text("alive")).AllowAnonymous().ExcludeFromDescription();
        app.MapGet("/health/ready", Ready).AllowAnonymous().ExcludeFromDescription();
        Pages.Map(app);
        app.MapInvitation();
        if (app.Services.GetRequiredService<ServiceSettings>().SignIn is not null)
            ExternalSignIn.Map(app);
        app.MapOpenApi().AllowAnonymous();
        var api = app.MapGroup("/api/v1");
        api.MapJobs();
        api.MapRequests();
        api.MapRemarks();
        api.MapCatalogue();
        api.MapChanges();
        api.MapIntake();
        api.MapUploads();
        api.MapCommands();
        api.MapAccounts();
        api.MapLedger();
        api.MapSignatures();
        api.MapViewing();
        api.MapMessages();
        api.MapArchives();
        app.MapStow();
        api.MapRetention();
    }

    /// <summary>Ready is a service whose database answers, whose receiver listens, whose disk has room, and whose ledger held when it was last checked and took what it was last given.</summary>
    private static IResult Ready(AccountStore accounts, DiskGuard disk, LedgerWatch ledger, ServiceLedger own, Receiver receiver, ServiceSettings settings)
    {
        try
        {
            accounts.List();
        }
        catch (DbException)
        {
            return Results.Text("the database does not answer", statusCode: StatusCodes.Status503ServiceUnavailable);
        }

        if (settings.Receiver.Enabled && !receiver.Listens)
            return Results.Text("the receiver does not listen: another program may have its port", statusCode: StatusCodes.Status503ServiceUnavailable);
        if (ledger.State is { Holds: false } state)
            return Results.Text($"the ledger does not hold: {string.Join(", ", state.Failures.Select(f => f.Split(':')[0]).Distinct())}", statusCode: StatusCodes.Status503ServiceUnavailable);
        if (own.Refusal is { } refusal)
            return Results.Text($"the ledger takes nothing: {refusal.Code}", statusCode: StatusCodes.Status503ServiceUnavailable);
        return disk.IsFull ? Results.Text("the disk is full", statusCode: StatusCodes.Status503ServiceUnavailable) : Results.Text("ready");
    }

    private static void Limit(KestrelServerOptions kestrel, PageSettings page)
    {
        kestrel.AddServerHeader = false;
        kestrel.Limits.MaxRequestBodySize = LargestBodyBytes;
        kestrel.Limits.MaxConcurrentConnections = 500;
        if (page.TlsCertificate is not null)
            kestrel.ConfigureHttpsDefaults(https => https.ServerCertificate = X509Certificate2.CreateFromPemFile(page.TlsCertificate, page.TlsKey));
    }
}
