using System.Net;

namespace AnatomyPrep.Service.Hosting;

/// <summary>Where metrics and traces go; nowhere until a site says so.</summary>
public sealed record TelemetrySettings
{
    /// <summary>A collector that takes OTLP over HTTP (protobuf), such as http://127.0.0.1:4318; null for none.</summary>
    public string? OtlpEndpoint { get; init; }

    /// <summary>Networks that may read /metrics (Prometheus text) without an account, such as 127.0.0.0/8; none: there is no such address.</summary>
    public IReadOnlyList<string> PrometheusNetworks { get; init; } = [];

    /// <summary>How often metrics are sent to the collector.</summary>
    public int IntervalSeconds { get; init; } = 30;

    internal bool IsReadBy(IPAddress? address) =>
        address is not null && PrometheusNetworks.Any(n => IPNetwork.Parse(n).Contains(address.IsIPv4MappedToIPv6 ? address.MapToIPv4() : address));

    internal void Check()
    {
        ServiceSettings.Require(OtlpEndpoint is null || (Uri.TryCreate(OtlpEndpoint, UriKind.Absolute, out var at) && at.Scheme is "http" or "https"), "telemetry.otlpEndpoint", OtlpEndpoint ?? "", "such as http://127.0.0.1:4318");
        ServiceSettings.RequireNetworks(PrometheusNetworks, "telemetry.prometheusNetworks", "127.0.0.0/8");
        ServiceSettings.Require(IntervalSeconds is >= 1 and <= 3600, "telemetry.intervalSeconds", IntervalSeconds, "1 to 3600");
    }
}
