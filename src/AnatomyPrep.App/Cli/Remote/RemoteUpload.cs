using System.Globalization;
using System.Net;
using System.Net.Http.Headers;
using System.Security.Cryptography;
using System.Text;
using System.Text.Json;
using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.App.Cli.Remote;

/// <summary>Sends files piece by piece and goes on where a broken line, or an ended command, left off.</summary>
/// <remarks>Which upload a set of files belongs to is noted in the home folder until it is handed in, so that the next try finds it.</remarks>
internal sealed class RemoteUpload(ServiceLink link, string notes)
{
    private const int PieceBytes = 16 << 20;
    private const int MostTries = 8;

    private static readonly TimeSpan s_pause = TimeSpan.FromMilliseconds(500);

    /// <summary>Sends all of the files; gives the upload's id. It is still open then.</summary>
    public async Task<string> SendAsync(IReadOnlyList<string> files, IProgress<(int Files, int Of)>? told, CancellationToken cancellation)
    {
        var note = NoteOf(files);
        var (id, there) = await OpenAsync(note, cancellation).ConfigureAwait(false);
        for (var k = 0; k < files.Count; k++)
        {
            await SendAsync(id, k, files[k], there.GetValueOrDefault(k), cancellation).ConfigureAwait(false);
            told?.Report((k + 1, files.Count));
        }

        return id;
    }

    /// <summary>Hands an upload in: from here on it is the service's.</summary>
    public async Task CompleteAsync(string id, IReadOnlyList<string> files, CancellationToken cancellation)
    {
        await link.PostAsync($"uploads/{id}/complete", null, cancellation).ConfigureAwait(false);
        File.Delete(NoteOf(files));
    }

    /// <summary>Gives an upload up.</summary>
    public async Task AbandonAsync(string id, IReadOnlyList<string> files, CancellationToken cancellation)
    {
        using var request = new HttpRequestMessage(HttpMethod.Delete, $"uploads/{id}");
        using var answer = await link.SendAsync(request, cancellation).ConfigureAwait(false);
        File.Delete(NoteOf(files));
    }

    private async Task<(string Id, Dictionary<int, long> There)> OpenAsync(string note, CancellationToken cancellation)
    {
        if (File.Exists(note))
        {
            var known = (await File.ReadAllTextAsync(note, cancellation).ConfigureAwait(false)).Trim();
            try
            {
                return (known, There(await link.GetAsync($"uploads/{known}", cancellation).ConfigureAwait(false)));
            }
            catch (BadInputException)
            {
                // Over, or removed after a day: a new one.
                File.Delete(note);
            }
        }

        var id = (await link.PostAsync("uploads/", null, cancellation).ConfigureAwait(false)).GetProperty("id").GetString()!;
        Directory.CreateDirectory(notes);
        await File.WriteAllTextAsync(note, id, cancellation).ConfigureAwait(false);
        return (id, []);
    }

    private async Task SendAsync(string id, int number, string file, long there, CancellationToken cancellation)
    {
        using var stream = File.OpenRead(file);
        var block = new byte[PieceBytes];
        var tries = 0;
        while (there < stream.Length || (there == 0 && tries == 0))
        {
            stream.Position = there;
            var read = await stream.ReadAtLeastAsync(block, block.Length, throwOnEndOfStream: false, cancellation).ConfigureAwait(false);
            try
            {
                var now = await PutAsync(id, number, there, block.AsMemory(0, read), cancellation).ConfigureAwait(false);
                if (now == there && read > 0)
                    throw new BadInputException("service", "upload", "nothing of a piece was taken", "Try again later.");
                (there, tries) = (now, 1);
            }
            catch (BadInputException) when (++tries <= MostTries)
            {
                await Task.Delay(s_pause * tries, cancellation).ConfigureAwait(false);
                there = await LengthAsync(id, number, there, cancellation).ConfigureAwait(false);
            }
        }
    }

    private async Task<long> PutAsync(string id, int number, long offset, ReadOnlyMemory<byte> piece, CancellationToken cancellation)
    {
        using var request = new HttpRequestMessage(HttpMethod.Put, $"uploads/{id}/files/{number}") { Content = new ReadOnlyMemoryContent(piece) };
        request.Content.Headers.ContentType = new MediaTypeHeaderValue("application/octet-stream");
        request.Headers.Add("Upload-Offset", offset.ToString(CultureInfo.InvariantCulture));
        using var answer = await link.SendAsync(request, cancellation).ConfigureAwait(false);
        using var body = JsonDocument.Parse(await answer.Content.ReadAsStringAsync(cancellation).ConfigureAwait(false));
        return body.RootElement.GetProperty("bytes").GetInt64();
    }

    /// <summary>How much of a file is there, as the service says; where it cannot say now, what was known.</summary>
    private async Task<long> LengthAsync(string id, int number, long known, CancellationToken cancellation)
    {
        try
        {
            return There(await link.GetAsync($"uploads/{id}", cancellation).ConfigureAwait(false)).GetValueOrDefault(number);
        }
        catch (BadInputException)
        {
            return known;
        }
    }

    private static Dictionary<int, long> There(JsonElement upload) =>
        upload.GetProperty("files").EnumerateArray().ToDictionary(f => f.GetProperty("number").GetInt32(), f => f.GetProperty("bytes").GetInt64());

    /// <summary>Named by a hash of service, names, sizes and times: a changed file begins anew, and no name is kept.</summary>
    private string NoteOf(IEnumerable<string> files)
    {
        var text = new StringBuilder(link.Host);
        foreach (var file in files.Select(f => new FileInfo(f)))
            text.Append(CultureInfo.InvariantCulture, $"\n{file.FullName} {file.Length} {file.LastWriteTimeUtc.Ticks}");
        return Path.Combine(notes, Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes(text.ToString())))[..32]);
    }
}
