using System.Diagnostics;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Imaging.Acquire;

namespace AnatomyPrep.Tests.Imaging.Acquire;

/// <summary>Thousands of damaged files through the whole of the source: each becomes part of a series, or gets a reason, and this process goes on.</summary>
public sealed class MutationTests
{
    private const int Batches = 50;
    private const int BatchFiles = 100;

    private static readonly string[] s_twins =
    [
        "twins/explicit-le", "twins/implicit-le", "twins/explicit-be", "twins/deflated", "twins/rle", "twins/jpeg-lossless-sv1", "twins/jpeg-ls-lossless", "twins/j2k-lossless",
        "enhanced/CT0012.fragmented_no_bot_jpeg_ls.80", "fragments/CT1.fragmented_rle",
    ];

    /// <summary>1 to 4 bytes changed, half of them in the first 2,500 bytes, or the file cut; seeded, so that a failure can be repeated by its batch.</summary>
    [Fact]
    [Trait("Kind", "Hostile")]
    [Trait("Kind", "Slow")]
    [Trait("Needs", "Shared")]
    public void Five_thousand_damaged_files_end_neither_the_parent_nor_its_patience()
    {
        byte[][] wholes = [.. s_twins.Select(t => File.ReadAllBytes(SharedData.File($"data/dicom-syntax/{t}.dcm")))];
        var outcomes = new SortedDictionary<string, int>(StringComparer.Ordinal);
        var slowest = TimeSpan.Zero;
        for (var batch = 0; batch < Batches; batch++)
        {
            using var folder = new TestFolder();
            var random = new Random(batch);
            for (var n = 0; n < BatchFiles; n++)
                File.WriteAllBytes(folder[FormattableString.Invariant($"m{n:D3}")], Damage(wholes[random.Next(wholes.Length)], random));
            var clock = Stopwatch.StartNew();
            foreach (var outcome in Read(folder.Path))
                outcomes[outcome] = outcomes.GetValueOrDefault(outcome) + 1;
            slowest = clock.Elapsed > slowest ? clock.Elapsed : slowest;
        }

        outcomes.Values.Sum().Should().Be(Batches * BatchFiles);
        Console.Error.WriteLine($"slowest batch of {BatchFiles}: {slowest}; {string.Join(", ", outcomes.Select(o => $"{o.Key} {o.Value}"))}");
        outcomes.Should().ContainKey("decoded").WhoseValue.Should().BeGreaterThan(Batches * BatchFiles / 10);
        outcomes.Keys.Should().NotContain(FindingCodes.FileTimedOut, "nothing may take longer than 10 s");
    }

    /// <summary>One outcome a file: decoded, or the code of its finding.</summary>
    private static IEnumerable<string> Read(string folder)
    {
        var paths = Directory.GetFiles(folder);
        using var reader = new ReaderProcess(TestReader.Command, new ReaderLimits(TimeSpan.FromSeconds(10), MostCrashes: BatchFiles), paths.Max(p => new FileInfo(p).Length));
        var scans = reader.Run(ReaderTask.Scan, [.. paths.Select((p, i) => new ReaderItem(i, p))], null, "test", RunContext.Default);
        var faults = scans.Where(s => s.Scan is null or { Fault: not null }).Select(s => (s.Fault ?? s.Scan!.Fault!).Code).ToArray();
        var sound = scans.Select((s, i) => (Reply: s, Path: paths[i])).Where(s => s.Reply.Scan is { Ct: not null, Fault: null }).ToArray();
        var gate = new StructureGate(ReaderLimits.Default).Check([.. sound.Select(s => s.Path)], RunContext.Default);
        var passed = sound.Where((_, i) => gate[i] is null).Where(s => s.Reply.Scan!.Ct!.Slices.All(f => f is { Slope: not null, Intercept: not null })).ToArray();
        var withoutScale = sound.Where((_, i) => gate[i] is null).Count() - passed.Length;
        var decoded = reader.Run(ReaderTask.Decode, [.. passed.Select((s, i) => new ReaderItem(i, s.Path, s.Reply.Digest, [.. Enumerable.Repeat(-1, s.Reply.Scan!.Ct!.Slices.Count)]))], null, "test", RunContext.Default);
        return faults
            .Concat(gate.Where(g => g is not null).Select(g => g!.Code))
            .Concat(Enumerable.Repeat(FindingCodes.RescaleMissing, withoutScale))
            .Concat(decoded.Select(d => d.Fault?.Code ?? "decoded"));
    }

    /// <summary>The same through the front door: a folder of damaged copies beside a whole series.</summary>
    [Fact]
    [Trait("Kind", "Hostile")]
    [Trait("Needs", "Shared")]
    public void Damaged_files_beside_a_series_never_keep_it_from_being_listed()
    {
        byte[] whole = File.ReadAllBytes(SharedData.File("data/dicom-syntax/twins/explicit-le.dcm"));
        using var folder = new TestFolder();
        TestCt.SaveSeries(folder, 3);
        var random = new Random(77);
        for (var n = 0; n < 60; n++)
            File.WriteAllBytes(folder[FormattableString.Invariant($"m{n:D3}")], Damage(whole, random));
        var listing = TestReader.Source.Inspect(folder.Path, RunContext.Default);
        listing.Series.Should().Contain(s => s.Uid == "1.2.3.4.2" && s.IsLoadable && s.Slices == 3);
        (listing.Series.Sum(s => s.Slices) + listing.Others.Count).Should().Be(63);
        listing.Series.Where(s => !s.IsLoadable).Should().AllSatisfy(s => s.Findings.Should().Contain(f => f.Severity == Severity.Stop));
    }

    private static byte[] Damage(byte[] whole, Random random)
    {
        if (random.Next(8) == 0)
            return whole[..random.Next(whole.Length)];
        byte[] changed = [.. whole];
        for (var n = random.Next(1, 5); n > 0; n--)
            changed[random.Next(2) == 0 ? random.Next(Math.Min(2500, whole.Length)) : random.Next(whole.Length)] = (byte)random.Next(256);
        return changed;
    }
}
