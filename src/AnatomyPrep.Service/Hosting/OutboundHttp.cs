using System.Net;
using System.Net.Sockets;

namespace AnatomyPrep.Service.Hosting;

/// <summary>Clients that reach the hosts of the settings and no others.</summary>
/// <remarks>
/// No redirect is followed, no proxy is asked, and the address that a name resolves to is looked at before it is connected to: a name that somebody points
/// at another machine reaches nothing inside.
/// </remarks>
internal static class OutboundHttp
{
    private static readonly IPNetwork[] s_never = [IPNetwork.Parse("169.254.0.0/16"), IPNetwork.Parse("fe80::/10"), IPNetwork.Parse("0.0.0.0/8"), IPNetwork.Parse("224.0.0.0/4"), IPNetwork.Parse("ff00::/8")];

    /// <param name="networks">Where addresses must lie; empty for any but link-local ones.</param>
    public static HttpClient Create(IReadOnlyList<string> networks, TimeSpan longest)
    {
        IPNetwork[] allowed = [.. networks.Select(n => IPNetwork.Parse(n))];
        return new(new SocketsHttpHandler
        {
            AllowAutoRedirect = false,
            UseCookies = false,
            UseProxy = false,
            ConnectCallback = (context, cancellation) => ConnectAsync(context.DnsEndPoint, allowed, cancellation),
            PooledConnectionLifetime = TimeSpan.FromMinutes(2),
        })
        {
            Timeout = longest,
        };
    }

    /// <summary>Why a host could not be asked, in words that hold nothing of the request.</summary>
    public static string Reason(HttpRequestException e) =>
        e.InnerException is NotAllowedException ? "its address is not in the networks that are set" : $"cannot be reached: {e.HttpRequestError}";

    private static async ValueTask<Stream> ConnectAsync(DnsEndPoint to, IPNetwork[] networks, CancellationToken cancellation)
    {
        var addresses = await Dns.GetHostAddressesAsync(to.Host, cancellation).ConfigureAwait(false);
        var allowed = addresses.Where(a => IsAllowed(a, networks)).ToArray();
        if (allowed.Length == 0)
            throw new NotAllowedException();
        var socket = new Socket(SocketType.Stream, ProtocolType.Tcp) { NoDelay = true };
        try
        {
            await socket.ConnectAsync(allowed, to.Port, cancellation).ConfigureAwait(false);
            return new NetworkStream(socket, ownsSocket: true);
        }
        catch
        {
            socket.Dispose();
            throw;
        }
    }

    private static bool IsAllowed(IPAddress address, IPNetwork[] networks)
    {
        var plain = address.IsIPv4MappedToIPv6 ? address.MapToIPv4() : address;
        return networks.Length > 0 ? networks.Any(n => n.Contains(plain)) : !s_never.Any(n => n.Contains(plain));
    }

    private sealed class NotAllowedException : Exception;
}
