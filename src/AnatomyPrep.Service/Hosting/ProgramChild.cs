using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Service.Hosting;

/// <summary>Starts the program itself as a child with limits: all work on images, models and plans is done there.</summary>
public sealed class ProgramChild(ServiceStart start, DataFolder folder, ServiceSettings settings)
{
    // The runtime maps its own code through a file of gigabytes that take no room, and the reader of images sets this limit for itself, which
    // cannot be raised again: a lower one keeps either from starting.
    private const long LargestFileBytes = 32L << 30;

    private static readonly KernelLimits s_short = new(2L << 30, TimeSpan.FromSeconds(60), LargestFileBytes);

    /// <summary>For a command that works on images or models, with the memory that a job has.</summary>
    /// <param name="longest">By the clock, on all processors.</param>
    /// <exception cref="InvalidOperationException">It could not be started.</exception>
    public SupervisedProcess Work(TimeSpan longest, params string[] arguments) => Silent(Answer(longest, arguments));

    /// <summary>As <see cref="Work"/>, to its end; a command that takes longer is ended.</summary>
    /// <returns>The exit code, and of another than 0 the last line that the command said.</returns>
    public (int Code, string? Reason) WorkToEnd(TimeSpan longest, params string[] arguments)
    {
        using var child = Work(longest, arguments);
        if (!child.WaitForExit(longest))
            child.Kill();
        var code = child.WaitForExit();
        return (code, code == 0 ? null : LastLine(child.Errors));
    }

    /// <summary>As <see cref="Work"/>, for a command whose output the caller reads.</summary>
    public SupervisedProcess Answer(TimeSpan longest, params string[] arguments) =>
        Start(new((long)settings.Jobs.MemoryMegabytes << 20, longest * Environment.ProcessorCount, LargestFileBytes), arguments);

    /// <summary>For a command that ends at once and whose output does not matter.</summary>
    public SupervisedProcess Check(params string[] arguments) => Silent(Ask(arguments));

    /// <summary>For a command that ends at once and whose output the caller reads.</summary>
    public SupervisedProcess Ask(params string[] arguments) => Start(s_short, arguments);

    private SupervisedProcess Start(KernelLimits limits, string[] arguments) => new(
        start.Program.FileName, [.. start.Program.Arguments, .. arguments], limits, new Dictionary<string, string> { ["ANATOMYPREP_HOME"] = folder.Objects }, keepErrors: true);

    private static string LastLine(string errors) => errors.Split('\n', StringSplitOptions.RemoveEmptyEntries | StringSplitOptions.TrimEntries).LastOrDefault() ?? "the program said nothing";

    // A child whose output nobody takes stops when the pipe is full.
    private static SupervisedProcess Silent(SupervisedProcess child)
    {
        _ = child.Output.CopyToAsync(Stream.Null);
        return child;
    }
}
