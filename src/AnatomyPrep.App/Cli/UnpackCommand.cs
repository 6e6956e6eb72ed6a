using System.CommandLine;
using System.Runtime.InteropServices;
using AnatomyPrep.App.Pipeline;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.App.Cli;

/// <summary>unpack SOURCE --out DIR: the HU of a source as one raw file, and where each sample lies, for viewers.</summary>
/// <remarks>
/// `samples.bin` holds int16, little-endian, columns first, then rows, then slices; `volume.json` the map from index to patient and how
/// often each HU occurs. Both are written aside and renamed, so that the folder is there whole or not at all.
/// Cost: one pass over the samples. Memory: what reading the source takes, and 512 KB.
/// </remarks>
internal static class UnpackCommand
{
    public const string Samples = "samples.bin";
    public const string Header = "volume.json";

    private const int Values = 1 << 16;

    public static Command Create(CommandContext context)
    {
        var source = new Argument<string>("SOURCE") { Description = "Folder, zip or DICOMDIR with a CT series, or a volume file" };
        var output = new Option<string>("--out") { Description = "New or empty folder for the result", Required = true };
        var series = new Option<string?>("--series") { Description = "Series UID, where the folder holds several" };
        var command = new Command("unpack", "Write the HU of a source as raw int16, with the place of every sample, for viewers") { source, output, series };
        command.SetAction((parsed, cancellation) =>
        {
            using var folder = OutputFolder.Create(parsed.GetValue(output)!);
            context.Run(run =>
            {
                using var loaded = new SourceLoader(context.Bench.Folders).Load(new(parsed.GetValue(source)!, parsed.GetValue(series)), run);
                var volume = loaded.State.SourceVolume ?? throw new BadInputException("source", "volume", "no images, only a surface or points", "Give a CT series or a volume file.");
                Write(volume, loaded.Findings, folder, run);
                return folder.Publish();
            }, cancellation);
            return Task.FromResult(ExitCodes.Done);
        });
        return command;
    }

    private static void Write(Volume volume, IReadOnlyList<Finding> findings, OutputFolder folder, RunContext run)
    {
        var counts = new long[Values];
        using (var file = File.Create(Path.Combine(folder.Path, Samples), 1 << 20))
            for (var k = 0; k < volume.Slices; k++)
            {
                run.Report("unpack", "slices", (double)k / volume.Slices);
                run.ThrowIfCancelled();
                var slice = volume.Slice(k);
                foreach (var hu in slice)
                    counts[hu - short.MinValue]++;
                file.Write(MemoryMarshal.AsBytes(slice));
            }

        var (low, high) = (Array.FindIndex(counts, c => c > 0), Array.FindLastIndex(counts, c => c > 0));
        var map = volume.Map;
        var header = new UnpackedHeader(
            volume.Columns, volume.Rows, volume.Slices, Numbers(map.ColumnStepMm), Numbers(map.RowStepMm), [.. map.SliceOriginsMm.ToArray().Select(Numbers)], map.TiltDeg,
            low + short.MinValue, high + short.MinValue, counts[low..(high + 1)], findings);
        File.WriteAllText(Path.Combine(folder.Path, Header), System.Text.Json.JsonSerializer.Serialize(header, Output.Json));
    }

    private static double[] Numbers(Vec3 v) => [v.X, v.Y, v.Z];

    /// <param name="ColumnStepMm">From one column to the next, LPS.</param>
    /// <param name="RowStepMm">From one row to the next.</param>
    /// <param name="SliceOriginsMm">Centre of the first sample of every slice.</param>
    /// <param name="CountsByHu">How many samples have <paramref name="MinHu"/>, the next HU, and so on.</param>
    private sealed record UnpackedHeader(
        int Columns, int Rows, int Slices, double[] ColumnStepMm, double[] RowStepMm, double[][] SliceOriginsMm, double TiltDeg, int MinHu, int MaxHu, long[] CountsByHu, IReadOnlyList<Finding> Findings);
}
