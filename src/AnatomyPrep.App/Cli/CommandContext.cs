using AnatomyPrep.App.Pipeline;
using AnatomyPrep.Core.Running;
using Microsoft.Extensions.Logging;

namespace AnatomyPrep.App.Cli;

/// <summary>What every command works with.</summary>
internal sealed class CommandContext(Workbench bench, Output output, ILogger<CommandContext> log)
{
    public Workbench Bench { get; } = bench;

    public Output Output { get; } = output;

    public ILogger Log { get; } = log;

    public T Run<T>(Func<RunContext, T> work, CancellationToken cancellation) =>
        Output.WithProgress(progress => work(new RunContext(progress, cancellation: cancellation)));
}
