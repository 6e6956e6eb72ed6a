using System.Net;
using System.Net.Http.Headers;
using System.Net.Http.Json;
using System.Text;
using System.Text.Json;
using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Tests.Service.Messages;

namespace AnatomyPrep.Tests.Service.Dicomweb;

/// <summary>Images come in by STOW-RS and are pulled from an archive by QIDO-RS and WADO-RS; both are looked at as what a scanner sends.</summary>
public sealed class DicomwebTests : IDisposable
{
    private readonly TestFolder _folder = new();

    public void Dispose() => _folder.Dispose();

    private string Data => _folder["data"];

    [Fact]
    public async Task Stored_images_become_a_source_once_and_the_answer_tells_of_each()
    {
        var files = Phantom.Write(Phantom.Ball(slices: 5), _folder["ct"]);
        await using var service = await RunningService.StartAsync(Data, new { intake = new { quietSeconds = 0.4 } });
        using var tom = await ServiceClient.AsAsync(service, Roles.Technician);
        var bad = Encoding.ASCII.GetBytes("not a picture");
        using var answer = await tom.SendAsync(HttpMethod.Post, "/dicom-web/studies", Related([.. files.Select(File.ReadAllBytes), bad]));
        answer.StatusCode.Should().Be(HttpStatusCode.Accepted, await answer.Content.ReadAsStringAsync());
        answer.Content.Headers.ContentType!.MediaType.Should().Be("application/dicom+json");
        var said = await answer.Content.ReadFromJsonAsync<JsonElement>();
        said.GetProperty("00081199").GetProperty("Value").GetArrayLength().Should().Be(5);
        said.GetProperty("00081199").GetProperty("Value")[0].GetProperty("00081150").GetProperty("Value")[0].GetString().Should().Be("1.2.840.10008.5.1.4.1.1.2", "CT Image Storage (PS3.6)");
        said.GetProperty("00081198").GetProperty("Value")[0].GetProperty("00081197").GetProperty("Value")[0].GetInt32().Should().Be(0x0110);
        var source = await service.Until(() => service.Sources.List(1) is [var only] ? only : null, "no source");
        source.Files.Should().Be(5);

        using var again = await tom.SendAsync(HttpMethod.Post, "/dicom-web/studies", Related([.. files.Select(File.ReadAllBytes)]));
        again.StatusCode.Should().Be(HttpStatusCode.OK);
        await service.Settled();
        service.Sources.List(10).Should().ContainSingle("the same images are the same source");
        using var other = await tom.SendAsync(HttpMethod.Post, "/dicom-web/studies/1.2.3", Related(File.ReadAllBytes(files[0])));
        other.StatusCode.Should().Be(HttpStatusCode.Conflict, "it is of another study");
        using var none = await tom.SendAsync(HttpMethod.Post, "/dicom-web/studies", Related(bad));
        none.StatusCode.Should().Be(HttpStatusCode.Conflict);
    }

    [Fact]
    public async Task Bodies_that_are_not_such_are_refused_and_leave_nothing()
    {
        await using var service = await RunningService.StartAsync(Data, new { storage = new { largestUploadMegabytes = 1 } });
        using var tom = await ServiceClient.AsAsync(service, Roles.Technician);
        (await tom.SendAsync(HttpMethod.Post, "/dicom-web/studies", new { })).StatusCode.Should().Be(HttpStatusCode.UnsupportedMediaType);
        (await tom.SendAsync(HttpMethod.Post, "/dicom-web/studies", Related())).StatusCode.Should().Be(HttpStatusCode.UnprocessableEntity, "no part");
        (await tom.SendAsync(HttpMethod.Post, "/dicom-web/studies", Raw("multipart/related; type=\"application/dicom\"; boundary=b", "--b\r\nContent-Type: application/dicom\r\n\r\nbroken off"))).StatusCode.Should().Be(HttpStatusCode.UnprocessableEntity);
        (await tom.SendAsync(HttpMethod.Post, "/dicom-web/studies", Raw("multipart/related; type=\"application/dicom+json\"; boundary=b", "--b--"))).StatusCode.Should().Be(HttpStatusCode.UnsupportedMediaType);
        (await tom.SendAsync(HttpMethod.Post, "/dicom-web/studies", Raw("multipart/related; type=\"application/dicom\"; boundary=b", "--b\r\nContent-Type: text/html\r\n\r\nx\r\n--b--"))).StatusCode.Should().Be(HttpStatusCode.BadRequest);
        (await tom.SendAsync(HttpMethod.Post, "/dicom-web/studies", Related(new byte[3 << 20]))).StatusCode.Should().Be(HttpStatusCode.BadRequest, "more than the site allows");
        Directory.GetFileSystemEntries(Path.Combine(Data, "receiving")).Should().BeEmpty();
        service.Sources.List(10).Should().BeEmpty();
    }

    [Fact]
    public async Task A_series_is_found_in_an_archive_and_pulled_and_no_identifier_is_kept()
    {
        var files = Phantom.Write(Phantom.Bones("INVENTED-7007"), _folder["ct"]);
        using var archive = new Listener { Answer = _ => 200 };
        archive.Content = heard => heard.Path.StartsWith("/told/series?", StringComparison.Ordinal)
            ? ("application/dicom+json", Encoding.UTF8.GetBytes("""[{"0020000D":{"vr":"UI","Value":["1.2.3"]},"0020000E":{"vr":"UI","Value":["1.2.3.4"]},"00080060":{"vr":"CS","Value":["CT"]},"00201209":{"vr":"IS","Value":[12]}},{"0020000D":{"vr":"UI"}}]"""))
            : heard.Path == "/told/studies/1.2.3/series/1.2.3.4" ? Parts(files) : ("text/plain", "no"u8.ToArray());
        File.WriteAllText(_folder["token"], "archive-token\n");
        await using var service = await RunningService.StartAsync(Data, new { intake = new { quietSeconds = 0.4 }, archives = new[] { new { name = "main", url = archive.Url, tokenFile = _folder["token"] } } });
        using var cora = await ServiceClient.AsAsync(service, Roles.Coordinator);
        (await cora.ReadAsync("/api/v1/archives/")).GetProperty("items")[0].GetProperty("name").GetString().Should().Be("main");
        using var found = await cora.SendAsync(HttpMethod.Post, "/api/v1/archives/main/query", new { patientId = "INVENTED-7007" });
        var series = (await found.Content.ReadFromJsonAsync<JsonElement>()).GetProperty("items");
        series.GetArrayLength().Should().Be(1, "the second names no series");
        series[0].GetProperty("images").GetInt32().Should().Be(12);
        archive.Requests.First().Path.Should().Contain("PatientID=INVENTED-7007").And.Contain("Modality=CT");
        archive.Requests.First().Headers["Authorization"].Should().Be("Bearer archive-token");

        using var pulled = await cora.SendAsync(HttpMethod.Post, "/api/v1/archives/main/pull", new { studyUid = "1.2.3", seriesUid = "1.2.3.4" });
        pulled.StatusCode.Should().Be(HttpStatusCode.Accepted, await pulled.Content.ReadAsStringAsync());
        (await service.Until(() => service.Sources.List(1) is [var only] ? only : null, "no source")).Files.Should().Be(files.Count);
        var kept = service.Log.Text + string.Join('\n', service.Events.After(0, 100).Select(e => e.Event.ToString()));
        kept.Should().NotContain("INVENTED-7007").And.NotContain("1.2.3.4").And.NotContain("archive-token");

        foreach (var (path, body, status) in new (string, object, HttpStatusCode)[]
        {
            ("main/query", new { patientId = "*" }, HttpStatusCode.BadRequest),
            ("main/query", new { }, HttpStatusCode.BadRequest),
            ("main/pull", new { studyUid = "../../metadata", seriesUid = "1" }, HttpStatusCode.BadRequest),
            ("main/pull", new { studyUid = "9", seriesUid = "9" }, HttpStatusCode.UnprocessableEntity),
            ("http://127.0.0.1/query", new { patientId = "x" }, HttpStatusCode.NotFound),
            ("other/pull", new { studyUid = "1", seriesUid = "1" }, HttpStatusCode.NotFound),
        })
        {
            using var refused = await cora.SendAsync(HttpMethod.Post, $"/api/v1/archives/{Uri.EscapeDataString(path.Split('/')[0])}/{path.Split('/')[^1]}", body);
            refused.StatusCode.Should().Be(status, "of {0}", path);
        }
    }

    private static HttpContent Related(params byte[][] parts)
    {
        var content = new MultipartContent("related", "a-boundary-of-the-test");
        content.Headers.ContentType!.Parameters.Add(new NameValueHeaderValue("type", "\"application/dicom\""));
        foreach (var part in parts)
        {
            var bytes = new ByteArrayContent(part);
            bytes.Headers.ContentType = new MediaTypeHeaderValue("application/dicom");
            content.Add(bytes);
        }

        return content;
    }

    private static (string, byte[]) Parts(IEnumerable<string> files)
    {
        using var content = Related([.. files.Select(File.ReadAllBytes)]);
        return (content.Headers.ContentType!.ToString(), content.ReadAsByteArrayAsync().Result);
    }

    private static ByteArrayContent Raw(string type, string body)
    {
        var content = new ByteArrayContent(Encoding.ASCII.GetBytes(body));
        content.Headers.TryAddWithoutValidation("Content-Type", type);
        return content;
    }
}
