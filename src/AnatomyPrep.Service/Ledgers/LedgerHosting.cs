using System.Globalization;
using System.Net;
using System.Threading.RateLimiting;
using AnatomyPrep.Service.Api;
using AnatomyPrep.Service.Events;
using AnatomyPrep.Service.Hosting;
using Microsoft.AspNetCore.Http;
using Microsoft.AspNetCore.RateLimiting;
using Microsoft.AspNetCore.Routing;
using Microsoft.Extensions.DependencyInjection;
using Quartz;

namespace AnatomyPrep.Service.Ledgers;

/// <summary>The ledger's parts of the service.</summary>
internal static class LedgerHosting
{
    /// <summary>Of one act from one address; the ledger itself shuts a key after five wrong passphrases.</summary>
    private const int SignaturesPerMinute = 30;

    public static void AddLedger(this IServiceCollection services, ServiceSettings settings)
    {
        services.AddSingleton<ServiceLedger>();
        services.AddSingleton<IEventGate>(s => s.GetRequiredService<ServiceLedger>());
        services.AddSingleton<KeyDesk>();
        services.AddSingleton<RunRecorder>();
        services.AddSingleton<LedgerWatch>();
        services.AddHostedService(s => s.GetRequiredService<LedgerWatch>());
        services.Configure<RateLimiterOptions>(limiter => limiter.AddPolicy(SignatureApi.Limit, context => RateLimitPartition.GetFixedWindowLimiter(
            (context.Connection.RemoteIpAddress ?? IPAddress.None, (context.GetEndpoint() as RouteEndpoint)?.RoutePattern.RawText),
            _ => new() { PermitLimit = SignaturesPerMinute, Window = TimeSpan.FromMinutes(1) })));
        var at = settings.Ledger.Time;
        var cron = string.Create(CultureInfo.InvariantCulture, $"0 {at.Minute} {at.Hour} * * ?");
        services.AddQuartz(quartz => quartz
            .AddJob<NightlyCheck>(job => job.WithIdentity(NightlyCheck.Key))
            .AddTrigger(trigger => trigger.WithIdentity(NightlyCheck.Key.Name).ForJob(NightlyCheck.Key)
                .WithCronSchedule(cron, schedule => schedule.InTimeZone(TimeZoneInfo.Utc))));
    }
}
