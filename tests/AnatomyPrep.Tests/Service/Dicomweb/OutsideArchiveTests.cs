using System.Diagnostics;
using System.Net;
using System.Net.Http.Json;
using System.Text.Json;
using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Tests.Service.Messages;

namespace AnatomyPrep.Tests.Service.Dicomweb;

/// <summary>DICOMweb with a peer that others wrote (Debian's Orthanc with its DICOMweb plug-in): it stores here by STOW-RS, and is asked and read from here by QIDO-RS and WADO-RS.</summary>
public sealed class OutsideArchiveTests : IDisposable
{
    private readonly TestFolder _folder = new();

    public void Dispose() => _folder.Dispose();

    [Fact]
    [Trait("Kind", "Slow")]
    public async Task A_series_is_pulled_from_an_archive_and_another_is_stored_by_it()
    {
        var port = Listener.FreePort();
        await using var service = await RunningService.StartAsync(_folder["data"], new { intake = new { quietSeconds = 0.4 }, archives = new[] { new { name = "outside", url = $"http://127.0.0.1:{port}/dicom-web" } } });
        using var tom = await ServiceClient.AsAsync(service, Roles.Technician, "tom");
        using var archive = new Archive(_folder["archive"], port, service, service.Accounts.MakeToken("tom", "archive", 1).Secret);
        var pulled = Phantom.Write(Phantom.Bones("INVENTED-8001"), _folder["ct"]);
        var stored = Phantom.Write(Phantom.Bones("INVENTED-8002", seed: 2), _folder["other"]);
        await archive.AddAsync(pulled);
        var other = await archive.AddAsync(stored);

        using var found = await tom.SendAsync(HttpMethod.Post, "/api/v1/archives/outside/query", new { patientId = "INVENTED-8001" });
        found.StatusCode.Should().Be(HttpStatusCode.OK, await found.Content.ReadAsStringAsync());
        var series = (await found.Content.ReadFromJsonAsync<JsonElement>()).GetProperty("items");
        series.GetArrayLength().Should().Be(1, "the other patient's is not listed");
        series[0].GetProperty("images").GetInt32().Should().Be(pulled.Count);
        using var asked = await tom.SendAsync(HttpMethod.Post, "/api/v1/archives/outside/pull", new { studyUid = series[0].GetProperty("studyUid").GetString(), seriesUid = series[0].GetProperty("seriesUid").GetString() });
        asked.StatusCode.Should().Be(HttpStatusCode.Accepted, await asked.Content.ReadAsStringAsync());
        (await service.Until(() => service.Sources.List(10) is [var only] ? only : null, "no source of what was pulled")).Files.Should().Be(pulled.Count);

        await archive.StoreAsync(other);
        var both = await service.Until(() => service.Sources.List(10) is { Count: 2 } two ? two : null, "no source of what was stored");
        both.Should().OnlyContain(s => s.Files == stored.Count);

        // The same images by the other way are the same source.
        await archive.StoreAsync(await archive.AddAsync(pulled));
        await service.Settled();
        service.Sources.List(10).Should().HaveCount(2);
    }

    /// <summary>An archive of its own on loopback, without a receiver.</summary>
    private sealed class Archive : IDisposable
    {
        private readonly Process _process;
        private readonly HttpClient _http;

        public Archive(string folder, int port, RunningService service, string token)
        {
            Directory.CreateDirectory(folder);
            var settings = Path.Combine(folder, "settings.json");
            File.WriteAllText(settings, JsonSerializer.Serialize(new Dictionary<string, object>
            {
                ["Name"] = "outside",
                ["HttpPort"] = port,
                ["RemoteAccessAllowed"] = false,
                ["AuthenticationEnabled"] = false,
                ["DicomServerEnabled"] = false,
                ["StorageDirectory"] = folder,
                ["IndexDirectory"] = folder,
                ["Plugins"] = new[] { "/usr/share/orthanc/plugins/libOrthancDicomWeb.so" },
                ["DicomWeb"] = new
                {
                    Enable = true,
                    Root = "/dicom-web/",
                    Servers = new { ours = new { Url = new Uri(service.Address, "dicom-web/").ToString(), HttpHeaders = new { Authorization = $"Bearer {token}" } } },
                },
            }));
            _process = Process.Start(new ProcessStartInfo("Orthanc", [settings]) { RedirectStandardOutput = true, RedirectStandardError = true })!;
            _process.BeginOutputReadLine();
            _process.BeginErrorReadLine();
            _http = new HttpClient { BaseAddress = new Uri($"http://127.0.0.1:{port}/"), Timeout = TimeSpan.FromMinutes(2) };
        }

        /// <summary>Puts files into it; gives its own name of their series.</summary>
        public async Task<string> AddAsync(IEnumerable<string> files)
        {
            var series = "";
            foreach (var file in files)
            {
                using var answer = await SendAsync(() => _http.PostAsync("instances", new ByteArrayContent(File.ReadAllBytes(file))));
                series = (await answer.Content.ReadFromJsonAsync<JsonElement>()).GetProperty("ParentSeries").GetString()!;
            }

            return series;
        }

        /// <summary>Has it store a series here by STOW-RS.</summary>
        public async Task StoreAsync(string series)
        {
            using var answer = await SendAsync(() => _http.PostAsJsonAsync("dicom-web/servers/ours/stow", new Dictionary<string, object> { ["Resources"] = new[] { series }, ["Synchronous"] = true }));
        }

        public void Dispose()
        {
            _http.Dispose();
            _process.Kill();
            _process.WaitForExit();
            _process.Dispose();
        }

        private static async Task<HttpResponseMessage> SendAsync(Func<Task<HttpResponseMessage>> send)
        {
            for (var wait = Stopwatch.StartNew(); ; await Task.Delay(200))
            {
                try
                {
                    var answer = await send();
                    answer.IsSuccessStatusCode.Should().BeTrue("the archive says {0}", await answer.Content.ReadAsStringAsync());
                    return answer;
                }
                catch (HttpRequestException) when (wait.Elapsed < TimeSpan.FromSeconds(60))
                {
                    // It does not listen yet.
                }
            }
        }
    }
}
