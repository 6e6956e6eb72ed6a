using AnatomyPrep.Service.Hosting;

namespace AnatomyPrep.Service.Jobs;

/// <summary>Runs a command of the program for somebody who waits for its answer: one at a time, in a child with the limits of a worker.</summary>
internal sealed class CommandDesk(ProgramChild program, ServiceSettings settings) : IDisposable
{
    private const int LongestOutput = 8 << 20;

    private readonly SemaphoreSlim _one = new(1);

    /// <returns>Exit code, what it wrote, and what it said to people.</returns>
    /// <exception cref="OperationCanceledException">Nobody waits any more; the child is gone.</exception>
    public async Task<(int ExitCode, string Output, string Messages)> RunAsync(CancellationToken cancellation, params string[] arguments)
    {
        await _one.WaitAsync(cancellation).ConfigureAwait(false);
        try
        {
            using var child = program.Answer(settings.Jobs.Longest, arguments);
            using var end = cancellation.Register(child.Kill);
            var output = await ReadAsync(child.Output, cancellation).ConfigureAwait(false);
            if (output is null)
                child.Kill();
            var code = await Task.Run(child.WaitForExit, CancellationToken.None).ConfigureAwait(false);
            cancellation.ThrowIfCancellationRequested();
            return output is null ? (3, "", "The answer is larger than 8 MB; run the command on a machine of your own.") : (code, output, child.Errors);
        }
        finally
        {
            _one.Release();
        }
    }

    public void Dispose() => _one.Dispose();

    private static async Task<string?> ReadAsync(Stream output, CancellationToken cancellation)
    {
        using var kept = new MemoryStream();
        var block = new byte[32 << 10];
        while (await output.ReadAsync(block, cancellation).ConfigureAwait(false) is > 0 and var read)
        {
            if (kept.Length + read > LongestOutput)
                return null;
            kept.Write(block, 0, read);
        }

        return System.Text.Encoding.UTF8.GetString(kept.ToArray());
    }
}
