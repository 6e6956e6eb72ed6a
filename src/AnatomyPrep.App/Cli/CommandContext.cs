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

    /// <param name="told">Who is told of the progress instead of the terminal.</param>
    public T Run<T>(Func<RunContext, T> work, CancellationToken cancellation, IProgress<RunProgress>? told = null) => told is null
        ? Output.WithProgress(progress => work(new RunContext(progress, cancellation: cancellation)))
        : work(new RunContext(told, cancellation: cancellation));
}
