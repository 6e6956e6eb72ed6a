using System.Diagnostics;
using System.Globalization;
using System.IO.Compression;
using System.Net;
using System.Net.Http.Headers;
using System.Net.Sockets;
using System.Text;
using AnatomyPrep.Service.Accounts;
using Microsoft.AspNetCore.Routing;
using Microsoft.Extensions.DependencyInjection;

namespace AnatomyPrep.Tests.Service.Api;

/// <summary>Requests made to do harm, by chance that can be repeated: every answer is one that is foreseen, and memory stays bounded.</summary>
public sealed class HostileRequestTests : IDisposable
{
    private const int Count = 5000;
    private const long MostMemoryBytes = 600L << 20;

    // 503: too many listeners; 507: the disk is full. Both name themselves in a problem.
    private static readonly int[] s_namedFaults = [503, 507];

    private static readonly string[] s_names =
    [
        "..", "../../../etc/passwd", "..%2f..%2fservice.db", "%2e%2e%2f", "%00", "a%0d%0aX-Evil: 1", "con", "C:%5cwindows", "%c0%ae%c0%ae/", "~root", "//", ".", "%F0%9F%92%80", "%FF%FE", "none;ls", "$(id)", "`id`", "'%20OR%201=1--", "-1", "9999999999999999999",
    ];

    private readonly TestFolder _folder = new();

    public void Dispose() => _folder.Dispose();

    [Fact]
    [Trait("Kind", "Slow")]
    public async Task Five_thousand_hostile_requests_get_foreseen_answers_and_leave_nothing()
    {
        await using var service = await RunningService.StartAsync(_folder["data"], new { storage = new { leastFreeMegabytes = 1, largestUploadMegabytes = 8 } });
        var places = service.Parts.GetRequiredService<EndpointDataSource>().Endpoints.OfType<RouteEndpoint>()
            .SelectMany(e => (e.Metadata.GetMetadata<HttpMethodMetadata>()?.HttpMethods ?? ["GET"]).Select(m => (Method: m, Pattern: "/" + e.RoutePattern.RawText!.TrimStart('/'))))
            .Where(e => e.Pattern != "/api/v1/changes" && e != ("DELETE", "/api/v1/session") && !e.Pattern.EndsWith("/disable", StringComparison.Ordinal)).OrderBy(e => e.Pattern, StringComparer.Ordinal).ThenBy(e => e.Method, StringComparer.Ordinal).ToArray();
        using var somebody = await ServiceClient.AsAsync(service, Roles.Coordinator);
        var bomb = Bomb();
        var chance = new Random(20261126);
        var before = Process.GetCurrentProcess().WorkingSet64;
        var (most, statuses) = (before, new SortedDictionary<int, int>());
        for (var k = 0; k < Count; k++)
        {
            // Each hundred from another address of loopback, so that the limit of requests does not answer for the rest.
            using var http = new HttpClient(From(k / 100)) { BaseAddress = service.Address, Timeout = TimeSpan.FromSeconds(30) };
            for (var end = Math.Min(Count, k + 100); k < end; k++)
            {
                var (request, what) = Request(chance, places, somebody, bomb);
                using (request)
                {
                    var status = await StatusOf(http, request);
                    statuses[status] = statuses.GetValueOrDefault(status) + 1;
                    if (status >= 500 && !s_namedFaults.Contains(status))
                        Assert.Fail($"{what} gave {status}; log: {service.Log.Text[^Math.Min(3000, service.Log.Text.Length)..]}");
                }
            }

            k--;
            using var now = Process.GetCurrentProcess();
            most = Math.Max(most, now.WorkingSet64);
        }

        Console.WriteLine(string.Create(CultureInfo.InvariantCulture, $"{Count} hostile requests: {string.Join(", ", statuses.Select(s => $"{s.Key}: {s.Value}"))}; memory {before >> 20} MB, at most {most >> 20} MB"));
        (most - before).Should().BeLessThan(MostMemoryBytes);
        statuses.GetValueOrDefault(0).Should().BeLessThan(Count / 4, "the connection is closed only on what is no HTTP");
        (await somebody.ReadAsync("/api/v1/session")).GetProperty("name").GetString().Should().Be(Roles.Coordinator, "the service still serves");
        Directory.GetFiles(Path.GetDirectoryName(_folder["data"])!, "evil*", SearchOption.AllDirectories).Should().BeEmpty();
        service.Jobs.List(10).Should().BeEmpty();
    }

    private static (HttpRequestMessage Request, string What) Request(Random chance, (string Method, string Pattern)[] places, ServiceClient somebody, byte[] bomb)
    {
        var (method, pattern) = places[chance.Next(places.Length)];
        var path = new StringBuilder();
        foreach (var part in pattern.Split('/', StringSplitOptions.RemoveEmptyEntries))
            path.Append('/').Append(part[0] == '{' && chance.Next(4) > 0 ? s_names[chance.Next(s_names.Length)] : part[0] == '{' ? "0" : part);
        if (path.Length == 0 || pattern.EndsWith('/'))
            path.Append('/');
        if (chance.Next(4) == 0)
            path.Append("?limit=").Append(s_names[chance.Next(s_names.Length)]).Append("&before=").Append(s_names[chance.Next(s_names.Length)]).Append("&state=99");
        var request = new HttpRequestMessage(new HttpMethod(method), new Uri(path.ToString(), UriKind.Relative));
        if (chance.Next(3) > 0)
            somebody.Authorize(request);
        var kind = chance.Next(10);
        if (method is "POST" or "PUT")
            request.Content = Body(chance, kind, bomb);
        if (chance.Next(6) == 0)
            request.Headers.TryAddWithoutValidation("Idempotency-Key", new string('k', chance.Next(1, 20_000)));
        if (chance.Next(8) == 0)
            request.Headers.TryAddWithoutValidation("X-Long", new string('x', chance.Next(1, 60_000)));
        if (chance.Next(8) == 0)
            request.Headers.TryAddWithoutValidation("Upload-Offset", s_names[chance.Next(s_names.Length)]);
        return (request, $"{method} {path} with body {kind}");
    }

    private static ByteArrayContent Body(Random chance, int kind, byte[] bomb)
    {
        var (bytes, type) = kind switch
        {
            0 => (Encoding.UTF8.GetBytes(new string('[', chance.Next(1, 100_000))), "application/json"),
            1 => (Encoding.UTF8.GetBytes("{\"purpose\":\"education\",\"anatomy\":" + string.Concat(Enumerable.Repeat("{\"a\":", 2000)) + "1" + new string('}', 2001)), "application/json"),
            2 => ([0x7B, 0x22, 0xFF, 0xFE, 0xC3, 0x28, 0x22, 0x3A, 0x31, 0x7D], "application/json"),
            3 => (Encoding.UTF8.GetBytes("<?xml version=\"1.0\"?><!DOCTYPE a [<!ENTITY x SYSTEM \"file:///etc/passwd\">]><a>&x;</a>"), chance.Next(2) == 0 ? "application/xml" : "application/json"),
            4 => (bomb, chance.Next(2) == 0 ? "application/zip" : "application/octet-stream"),
            5 => (Mutated(chance, "{\"purpose\":\"education\",\"anatomy\":\"skull\",\"plan\":\"bone\",\"scale\":1,\"patientId\":\"X\",\"name\":\"a\",\"password\":\"b\",\"role\":\"administrator\",\"sourceId\":\"0\"}"), "application/json"),
            6 => (Mutated(chance, "purpose,anatomy,plan\neducation,\"sk\"\"ull\",bone\n"), "text/csv"),
            7 => (Encoding.UTF8.GetBytes("{\"purpose\":\"education\",\"purpose\":\"planning\",\"anatomy\":\"../../evil\",\"plan\":\"--out=/tmp/evil\",\"scale\":1e999,\"neededBy\":\"0000-00-00\"}"), "application/json"),
            8 => (Encoding.UTF8.GetBytes("token=" + new string('%', chance.Next(5000)) + "&name=%00&password=" + new string('p', 3000)), "application/x-www-form-urlencoded"),
            _ => (new byte[chance.Next(3_000_000)], "multipart/form-data; boundary=x"),
        };
        var content = new ByteArrayContent(bytes);
        content.Headers.ContentType = MediaTypeHeaderValue.Parse(type);
        if (kind == 4)
            content.Headers.ContentEncoding.Add("gzip");
        return content;
    }

    private static byte[] Mutated(Random chance, string text)
    {
        var bytes = Encoding.UTF8.GetBytes(text);
        for (var k = chance.Next(1, 8); k > 0; k--)
            bytes[chance.Next(bytes.Length)] = (byte)chance.Next(256);
        return bytes;
    }

    /// <summary>100 MB of nothing in 100 KB.</summary>
    private static byte[] Bomb()
    {
        using var packed = new MemoryStream();
        using (var gzip = new GZipStream(packed, CompressionLevel.SmallestSize))
            for (var k = 0; k < 100; k++)
                gzip.Write(new byte[1 << 20]);
        return packed.ToArray();
    }

    /// <summary>The status; 0 where the service closed the connection instead, as it may on what is no HTTP or too large.</summary>
    private static async Task<int> StatusOf(HttpClient http, HttpRequestMessage request)
    {
        try
        {
            using var answer = await http.SendAsync(request);
            return (int)answer.StatusCode;
        }
        catch (HttpRequestException)
        {
            return 0;
        }
    }

    private static SocketsHttpHandler From(int number) => new()
    {
        UseCookies = false,
        AllowAutoRedirect = false,
        ConnectCallback = async (context, cancellation) =>
        {
            var socket = new Socket(AddressFamily.InterNetwork, SocketType.Stream, ProtocolType.Tcp) { NoDelay = true };
            socket.Bind(new IPEndPoint(IPAddress.Parse(string.Create(CultureInfo.InvariantCulture, $"127.0.1.{number + 1}")), 0));
            await socket.ConnectAsync(IPAddress.Loopback, context.DnsEndPoint.Port, cancellation);
            return new NetworkStream(socket, ownsSocket: true);
        },
    };
}
