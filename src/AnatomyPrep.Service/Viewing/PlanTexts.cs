using System.Collections.Concurrent;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Service.Hosting;

namespace AnatomyPrep.Service.Viewing;

/// <summary>The presets and the schema of plans, asked of the program once each and kept: the service knows no step.</summary>
internal sealed class PlanTexts(ServiceStart start, DataFolder folder)
{
    // The runtime maps its own code through a file of gigabytes that take no room: a low limit of file size keeps it from starting.
    private static readonly KernelLimits s_limits = new(2L << 30, TimeSpan.FromSeconds(60), 32L << 30);

    private readonly ConcurrentDictionary<string, Lazy<Task<byte[]>>> _kept = [];

    public IReadOnlyList<string> Names { get; } = [.. start.Plans.Select(p => p.Name)];

    /// <summary>JSON Schema of plans, UTF-8.</summary>
    public Task<byte[]> SchemaAsync() => Kept("--schema");

    /// <summary>A preset as JSON, UTF-8.</summary>
    /// <param name="name">One of <see cref="Names"/>.</param>
    public Task<byte[]> PlanAsync(string name) => Kept(name, "--json");

    private Task<byte[]> Kept(params string[] arguments) => _kept.GetOrAdd(string.Join(' ', arguments), _ => new(() => AskAsync(arguments))).Value;

    private async Task<byte[]> AskAsync(string[] arguments)
    {
        using var child = new SupervisedProcess(start.Program.FileName, [.. start.Program.Arguments, "plans", .. arguments], s_limits, new Dictionary<string, string> { ["ANATOMYPREP_HOME"] = folder.Objects });
        using var answer = new MemoryStream();
        await child.Output.CopyToAsync(answer).ConfigureAwait(false);
        return child.WaitForExit() == 0 ? answer.ToArray() : throw new CheckFailedException("plans", "the program to print its plans", "it did not");
    }
}
