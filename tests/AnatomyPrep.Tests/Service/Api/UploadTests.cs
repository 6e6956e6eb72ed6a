using System.Net;
using System.Net.Http.Json;
using System.Text.Json;
using AnatomyPrep.Service.Accounts;

namespace AnatomyPrep.Tests.Service.Api;

/// <summary>Files sent in pieces, over lines that break, become a source; nobody reaches an upload of somebody else.</summary>
public sealed class UploadTests : IDisposable
{
    private readonly TestFolder _folder = new();

    public void Dispose() => _folder.Dispose();

    [Fact]
    public async Task Pieces_make_files_and_files_a_source()
    {
        var files = Phantom.Write(Phantom.Ball(slices: 4), _folder["ct"]);
        await using var service = await RunningService.StartAsync(_folder["data"], new { intake = new { quietSeconds = 0.4 } });
        using var client = await ServiceClient.AsAsync(service, Roles.Technician);
        var upload = await Begin(client);
        for (var k = 0; k < files.Count; k++)
        {
            var bytes = await File.ReadAllBytesAsync(files[k]);
            (await Put(client, upload, k, 0, bytes[..1000])).StatusCode.Should().Be(HttpStatusCode.OK);
            (await Put(client, upload, k, 0, bytes[..1000])).StatusCode.Should().Be(HttpStatusCode.Conflict, "that piece is there");
            (await Put(client, upload, k, 1200, bytes[1200..])).StatusCode.Should().Be(HttpStatusCode.Conflict, "a gap");
            var there = (await client.ReadAsync(upload)).GetProperty("files")[k].GetProperty("bytes").GetInt32();
            there.Should().Be(1000, "the sender is told where to go on");
            (await Put(client, upload, k, there, bytes[there..])).StatusCode.Should().Be(HttpStatusCode.OK);
        }

        (await client.SendAsync(HttpMethod.Post, $"{upload}/complete")).StatusCode.Should().Be(HttpStatusCode.NoContent);
        (await client.SendAsync(HttpMethod.Post, $"{upload}/complete")).StatusCode.Should().Be(HttpStatusCode.NotFound, "once");
        (await service.Until(() => service.Sources.List(1) is [var source] ? source : null, "no source")).Files.Should().Be(files.Count);
    }

    [Fact]
    public async Task An_upload_is_its_owners_and_bounded()
    {
        await using var service = await RunningService.StartAsync(_folder["data"], new { storage = new { largestUploadMegabytes = 1 } });
        using var client = await ServiceClient.AsAsync(service, Roles.Technician);
        using var other = await ServiceClient.AsAsync(service, Roles.Coordinator);
        var upload = await Begin(client);
        (await Put(other, upload, 0, 0, [1])).StatusCode.Should().Be(HttpStatusCode.NotFound);
        (await other.SendAsync(HttpMethod.Delete, upload)).StatusCode.Should().Be(HttpStatusCode.NotFound);
        (await Put(client, upload, 20_000, 0, [1])).StatusCode.Should().Be(HttpStatusCode.BadRequest);
        (await Put(client, upload, -1, 0, [1])).StatusCode.Should().Be(HttpStatusCode.BadRequest);
        (await Put(client, upload, 0, 0, new byte[(1 << 20) - 10])).StatusCode.Should().Be(HttpStatusCode.OK);
        (await Put(client, upload, 1, 0, new byte[11])).StatusCode.Should().Be(HttpStatusCode.BadRequest, "more than the limit in all");
        foreach (var id in new[] { "..", "%2e%2e", "..%2f..", new string('0', 32) })
            (await Put(client, $"/api/v1/uploads/{id}", 0, 0, [1])).StatusCode.Should().BeOneOf(HttpStatusCode.NotFound, HttpStatusCode.Forbidden, HttpStatusCode.MethodNotAllowed);
        (await client.SendAsync(HttpMethod.Delete, upload)).StatusCode.Should().Be(HttpStatusCode.NoContent);
        Directory.GetFileSystemEntries(Path.Combine(service.Data, "uploads")).Should().BeEmpty();
    }

    private static async Task<string> Begin(ServiceClient client)
    {
        using var answer = await client.SendAsync(HttpMethod.Post, "/api/v1/uploads/");
        answer.StatusCode.Should().Be(HttpStatusCode.Created);
        return $"/api/v1/uploads/{(await answer.Content.ReadFromJsonAsync<JsonElement>()).GetProperty("id").GetString()}";
    }

    private static Task<HttpResponseMessage> Put(ServiceClient client, string upload, int number, long offset, byte[] piece) =>
        client.SendAsync(HttpMethod.Put, $"{upload}/files/{number}", piece, ("Upload-Offset", $"{offset}"));
}
