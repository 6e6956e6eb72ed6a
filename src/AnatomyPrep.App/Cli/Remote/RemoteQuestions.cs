using System.CommandLine;
using System.Text.Json;
using AnatomyPrep.App.Cli.Ledgers;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.Questions;

namespace AnatomyPrep.App.Cli.Remote;

/// <summary>ledger ask on a service: the answers are those of the ledger there, the lines those of the command here.</summary>
internal static class RemoteQuestions
{
    private const string Questions = "ledger/questions/";

    /// <summary>Null for a question that cannot be asked there.</summary>
    public static Func<ServiceLink, CancellationToken, Task<int>>? Of(string question, ParseResult parsed)
    {
        var json = parsed.GetValue<bool>("--json");
        string Given(string name) => Uri.EscapeDataString(parsed.GetValue<string>(name)!);
        return question switch
        {
            "model" => (link, c) => ModelAsync(link, string.Join('/', parsed.GetValue<string>("MODEL")!.Split('/').Select(Uri.EscapeDataString)), json, c),
            "models" => Asked<string>($"{Questions}models?by={Given("BY")}&value={Given("VALUE")}", json, LedgerLines.Of),
            "recall" => Asked<RecallLine>($"{Questions}recall?lot={Given("LOT")}", json, LedgerLines.Of),
            "acknowledged" => Asked<AcknowledgementLine>(
                $"{Questions}acknowledged?finding={Given("FINDING")}{(parsed.GetValue<string?>("--model") is null ? "" : $"&model={Given("--model")}")}", json, LedgerLines.Of),
            "alone" => Asked<string>($"{Questions}alone", json, LedgerLines.Of),
            "drift" => Asked<DriftLine>($"{Questions}drift", json, LedgerLines.Of),
            "drift-by-software" => Asked<DriftSummary>($"{Questions}drift-by-software", json, LedgerLines.Of),
            "retention" => Asked<RetentionLine>($"{Questions}retention?before={Given("--before")}", json, LedgerLines.Of),
            "differences" => Asked<DifferenceLine>($"{Questions}differences?first={Given("FIRST")}&second={Given("SECOND")}", json, LedgerLines.Of),
            "key" => Asked<EventLine>($"{Questions}key?fingerprint={Given("FINGERPRINT")}", json, LedgerLines.Of),
            "events" => Asked<EventLine>($"ledger/events?limit=500&kind={LedgerSession.Word(parsed.GetValue<LedgerEventKind>("KIND").ToString())}", json, LedgerLines.Of),
            _ => null,
        };
    }

    private static async Task<int> ModelAsync(ServiceLink link, string model, bool json, CancellationToken cancellation)
    {
        var answer = (await link.GetAsync($"ledger/models/{model}", cancellation).ConfigureAwait(false)).Deserialize<ModelAnswer>(Output.Json)!;
        if (json)
            Output.WriteJson(answer);
        else
            foreach (var line in LedgerLines.Of(answer))
                Output.WriteResult(line);
        return ExitCodes.Done;
    }

    /// <summary>A question whose answer is a list, to its last part.</summary>
    private static Func<ServiceLink, CancellationToken, Task<int>> Asked<T>(string path, bool json, Func<T, string> line) => async (link, cancellation) =>
    {
        var answers = new List<T>();
        var part = path;
        while (part is not null)
        {
            var answer = await link.GetAsync(part, cancellation).ConfigureAwait(false);
            answers.AddRange(answer.GetProperty("items").Deserialize<T[]>(Output.Json)!);
            part = answer.GetProperty("next").GetString() is { } next ? $"{path}&after={next}" : null;
        }

        if (json)
            Output.WriteJson(answers);
        else
            foreach (var text in LedgerLines.All(answers, line))
                Output.WriteResult(text);
        return ExitCodes.Done;
    };
}
