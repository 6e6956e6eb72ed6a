using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.App.Cli.Remote;

/// <summary>The service's stream of changes (server-sent events), opened again where it breaks.</summary>
internal sealed class RemoteChanges(ServiceLink link) : IDisposable
{
    private HttpResponseMessage? _answer;
    private StreamReader? _lines;
    private Task<string?>? _next;

    /// <summary>Returns when something changed about an id, or after a while.</summary>
    public async Task NextAsync(string id, TimeSpan longest, CancellationToken cancellation)
    {
        var end = Task.Delay(longest, cancellation);
        try
        {
            if (_lines is null)
                await OpenAsync(cancellation).ConfigureAwait(false);
            while (true)
            {
                _next ??= _lines!.ReadLineAsync(cancellation).AsTask();
                if (await Task.WhenAny(_next, end).ConfigureAwait(false) == end)
                {
                    await end.ConfigureAwait(false);
                    return;
                }

                var line = await _next.ConfigureAwait(false);
                _next = null;
                if (line is null)
                    Dispose();
                if (line is null || (line.StartsWith("data:", StringComparison.Ordinal) && line.Contains(id, StringComparison.Ordinal)))
                    return;
            }
        }
        catch (Exception e) when (e is IOException or HttpRequestException or BadInputException)
        {
            // Too many listen, or the line broke: the lists tell the same a little later.
            Dispose();
            await end.ConfigureAwait(false);
        }
    }

    public void Dispose()
    {
        _lines?.Dispose();
        _answer?.Dispose();
        (_lines, _answer, _next) = (null, null, null);
    }

    private async Task OpenAsync(CancellationToken cancellation)
    {
        using var request = new HttpRequestMessage(HttpMethod.Get, "changes");
        _answer = await link.SendAsync(request, cancellation, wholeAnswer: false).ConfigureAwait(false);
        _lines = new StreamReader(await _answer.Content.ReadAsStreamAsync(cancellation).ConfigureAwait(false));
    }
}
