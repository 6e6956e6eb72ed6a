using System.Text.Encodings.Web;
using System.Text.Json;
using System.Text.Json.Serialization;
using System.Text.Json.Serialization.Metadata;
using AnatomyPrep.Core.Running;
using Spectre.Console;

namespace AnatomyPrep.App.Cli;

/// <summary>Results to stdout, everything for people to stderr; progress only on a terminal.</summary>
internal sealed class Output
{
    public static readonly JsonSerializerOptions Json = new()
    {
        PropertyNamingPolicy = JsonNamingPolicy.CamelCase,
        WriteIndented = true,
        Encoder = JavaScriptEncoder.UnsafeRelaxedJsonEscaping,
        NumberHandling = JsonNumberHandling.AllowNamedFloatingPointLiterals,
        TypeInfoResolver = new DefaultJsonTypeInfoResolver(),
        Converters = { new JsonStringEnumConverter(JsonNamingPolicy.CamelCase), new Vec3Converter(), new Box3Converter() },
    };

    public IAnsiConsole People { get; } = AnsiConsole.Create(new AnsiConsoleSettings { Out = new AnsiConsoleOutput(Console.Error) });

    public static bool IsTerminal => !Console.IsErrorRedirected;

    /// <summary>One JSON document on stdout.</summary>
    public static void WriteJson(object value) => Console.Out.WriteLine(JsonSerializer.Serialize(value, Json));

    public static void WriteResult(string line) => Console.Out.WriteLine(line);

    public void Say(string line) => People.WriteLine(line);

    public void Findings(IEnumerable<Core.Findings.Finding> findings)
    {
        var table = new Table().Border(TableBorder.Simple).AddColumns("Finding", "Severity", "What", "What to do");
        foreach (var f in findings.OrderByDescending(f => f.Severity).ThenBy(f => f.Code, StringComparer.Ordinal))
            table.AddRow(new Text(f.Code), new Text(f.Severity.ToString().ToLowerInvariant(), Style(f.Severity)), new Text(f.Message), new Text(f.Remedy));
        if (table.Rows.Count > 0)
            People.Write(table);
    }

    public void Facts(string title, IEnumerable<(string Name, string Value)> facts)
    {
        var table = new Table().Border(TableBorder.Simple).Title(title).HideHeaders().AddColumns("", "");
        foreach (var (name, value) in facts)
            table.AddRow(new Text(name), new Text(value));
        People.Write(table);
    }

    /// <summary>Runs work under a progress bar when there is a terminal to draw it on.</summary>
    public T WithProgress<T>(Func<IProgress<RunProgress>?, T> work)
    {
        if (!IsTerminal)
            return work(null);
        T result = default!;
        People.Progress().AutoClear(true).HideCompleted(true).Start(context => result = work(new Bars(context)));
        return result;
    }

    private static Style Style(Core.Findings.Severity severity) => severity switch
    {
        Core.Findings.Severity.Stop => new Style(Color.Red, decoration: Decoration.Bold),
        Core.Findings.Severity.Caution => new Style(Color.Yellow),
        _ => Spectre.Console.Style.Plain,
    };

    private sealed class Bars(ProgressContext context) : IProgress<RunProgress>
    {
        private readonly Dictionary<string, ProgressTask> _tasks = [];

        public void Report(RunProgress value)
        {
            lock (_tasks)
            {
                if (!_tasks.TryGetValue(value.Step, out var task))
                    _tasks[value.Step] = task = context.AddTask(Markup.Escape(value.Step), maxValue: 1);
                task.Description = Markup.Escape($"{value.Step}: {value.Phase}");
                task.Value = value.Fraction;
            }
        }
    }
}
