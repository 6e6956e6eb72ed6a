using System.Collections.Concurrent;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Service.Hosting;

namespace AnatomyPrep.Service.Viewing;

/// <summary>Plans and their schema, asked of the program once each and kept: the service knows no step.</summary>
internal sealed class PlanTexts(ProgramChild program, EditedPlans edited)
{
    private readonly ConcurrentDictionary<string, Lazy<Task<byte[]>>> _kept = [];

    /// <summary>JSON Schema of plans, UTF-8.</summary>
    public Task<byte[]> SchemaAsync() => Kept("--schema");

    /// <summary>A plan as JSON, UTF-8, whole: with its process profile and its structures.</summary>
    /// <param name="name">One of <see cref="ServiceStart.Plans"/>, or of a plan that was changed on the page.</param>
    public Task<byte[]> PlanAsync(string name) => Kept(edited.FileOrName(name), "--json");

    private Task<byte[]> Kept(params string[] arguments) => _kept.GetOrAdd(string.Join(' ', arguments), _ => new(() => AskAsync(arguments))).Value;

    private async Task<byte[]> AskAsync(string[] arguments)
    {
        using var child = program.Ask(["plans", .. arguments]);
        using var answer = new MemoryStream();
        await child.Output.CopyToAsync(answer).ConfigureAwait(false);
        return child.WaitForExit() == 0 ? answer.ToArray() : throw new CheckFailedException("plans", "the program to print its plans", "it did not");
    }
}
