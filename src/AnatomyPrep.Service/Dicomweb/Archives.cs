using System.Net.Http.Headers;
using System.Text.Json;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Service.Events;
using AnatomyPrep.Service.Hosting;

namespace AnatomyPrep.Service.Dicomweb;

/// <summary>A series that an archive has. It names nobody, but its words may: it is shown to who asked, and neither kept nor logged.</summary>
public sealed record ArchiveSeries(string StudyUid, string SeriesUid, string? Modality, string? Description, string? BodyPart, string? StudyDate, int? Images);

/// <summary>Asks the archives of the settings for series (QIDO-RS, PS3.18 10.6) and pulls one (WADO-RS, 10.4); what comes is an arrival like any other.</summary>
internal sealed class Archives(ServiceSettings settings, DicomParts parts, DataFolder folder, IEventSink events) : IDisposable
{
    private const int MostSeries = 200;
    private const int MostAnswerBytes = 8 << 20;
    private const int LongestUid = 64;

    private static readonly TimeSpan s_longest = TimeSpan.FromMinutes(30);

    private readonly Dictionary<string, (ArchiveSettings Settings, HttpClient Http)> _all = settings.Archives.ToDictionary(a => a.Name, a => (a, OutboundHttp.Create(a.Networks, s_longest)), StringComparer.Ordinal);

    public IEnumerable<string> Names => _all.Keys.Order(StringComparer.Ordinal);

    public bool Has(string name) => _all.ContainsKey(name);

    /// <summary>CT series by patient, accession number or study.</summary>
    /// <exception cref="PlanException">Nothing to look for, or a form that is not allowed.</exception>
    /// <exception cref="BadInputException">The archive does not answer as it should.</exception>
    public async Task<IReadOnlyList<ArchiveSeries>> FindAsync(string name, string? patientId, string? accession, string? studyUid, CancellationToken cancellation)
    {
        (string Key, string? Value)[] asked = [("PatientID", patientId), ("AccessionNumber", accession), ("StudyInstanceUID", studyUid)];
        var given = asked.Where(a => !string.IsNullOrWhiteSpace(a.Value)).ToArray();
        if (given.Length == 0)
            throw new PlanException("query", null, "patientId", "missing", "patientId, accessionNumber or studyUid");
        // A star would ask for everybody.
        if (given.Any(g => g.Value!.Length > LongestUid || g.Value.Any(c => char.IsControl(c) || c is '*' or '?' or '\\')))
            throw new PlanException("query", null, given[0].Key, "not allowed", "at most 64 characters, without * ? and backslash");
        var query = string.Join('&', given.Select(g => $"{g.Key}={Uri.EscapeDataString(g.Value!.Trim())}"));
        using var answer = await AskAsync(name, $"series?{query}&Modality=CT&limit={MostSeries}&includefield=StudyDate&includefield=BodyPartExamined", "application/dicom+json", cancellation).ConfigureAwait(false);
        if (answer.StatusCode == System.Net.HttpStatusCode.NoContent)
            return [];
        await answer.Content.LoadIntoBufferAsync(MostAnswerBytes, cancellation).ConfigureAwait(false);
        try
        {
            using var found = JsonDocument.Parse(await answer.Content.ReadAsStreamAsync(cancellation).ConfigureAwait(false), new() { MaxDepth = 16 });
            return [.. found.RootElement.EnumerateArray().Take(MostSeries).Select(Series).OfType<ArchiveSeries>()];
        }
        catch (Exception e) when (e is JsonException or InvalidOperationException)
        {
            throw new BadInputException("archive", name, "its answer is not DICOM JSON", "See whether archives.url is the root of its DICOMweb.");
        }
    }

    /// <summary>Pulls a series; gives the name of the arrival.</summary>
    /// <exception cref="PlanException">Not UIDs.</exception>
    /// <exception cref="BadInputException">The archive does not answer as it should.</exception>
    public async Task<string> PullAsync(string name, string studyUid, string seriesUid, string actor, CancellationToken cancellation)
    {
        foreach (var (what, uid) in new[] { ("studyUid", studyUid), ("seriesUid", seriesUid) })
            if (uid.Length is 0 or > LongestUid || !uid.All(c => char.IsAsciiDigit(c) || c == '.'))
                throw new PlanException("pull", null, what, "not a UID", "digits and points, at most 64");
        using var answer = await AskAsync(name, $"studies/{studyUid}/series/{seriesUid}", "multipart/related; type=\"application/dicom\"; transfer-syntax=*", cancellation).ConfigureAwait(false);
        if (DicomParts.Boundary(answer.Content.Headers.ContentType?.ToString()) is not { } boundary)
            throw new BadInputException("archive", name, "its answer is not multipart/related of application/dicom", "See whether it serves WADO-RS at archives.url.");
        var there = await parts.TakeAsync(await answer.Content.ReadAsStreamAsync(cancellation).ConfigureAwait(false), boundary, "p", cancellation).ConfigureAwait(false);
        var arrival = Path.GetFileName(there);
        events.Append(new("arrival.pulled", arrival, actor, Detail: $"{Directory.GetFiles(there).Length} files from archive {name}"));
        Directory.Move(there, Path.Combine(folder.Arrived, arrival));
        return arrival;
    }

    public void Dispose()
    {
        foreach (var (_, http) in _all.Values)
            http.Dispose();
    }

    private async Task<HttpResponseMessage> AskAsync(string name, string path, string accept, CancellationToken cancellation)
    {
        var (archive, http) = _all[name];
        using var request = new HttpRequestMessage(HttpMethod.Get, $"{archive.Url.TrimEnd('/')}/{path}");
        request.Headers.TryAddWithoutValidation("Accept", accept);
        if (archive.TokenFile is { } file)
            request.Headers.Authorization = new AuthenticationHeaderValue("Bearer", (await File.ReadAllTextAsync(file, cancellation).ConfigureAwait(false)).Trim());
        try
        {
            var answer = await http.SendAsync(request, HttpCompletionOption.ResponseHeadersRead, cancellation).ConfigureAwait(false);
            if (answer.IsSuccessStatusCode)
                return answer;
            using (answer)
                throw new BadInputException("archive", name, $"answered {(int)answer.StatusCode}", "Ask whoever runs it.");
        }
        catch (HttpRequestException e)
        {
            throw new BadInputException("archive", name, OutboundHttp.Reason(e), "See whether it runs and archives.url is right.");
        }
    }

    private static ArchiveSeries? Series(JsonElement of)
    {
        string? Text(string tag) => of.TryGetProperty(tag, out var element) && element.TryGetProperty("Value", out var values) && values.GetArrayLength() > 0 ? values[0].ToString() : null;
        return Text("0020000D") is { } study && Text("0020000E") is { } series
            ? new(study, series, Text("00080060"), Text("0008103E"), Text("00180015"), Text("00080020"), int.TryParse(Text("00201209"), out var images) ? images : null)
            : null;
    }
}
