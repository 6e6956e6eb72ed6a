using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Segment;

namespace AnatomyPrep.Tests.Imaging.Segment;

public sealed class ComponentsTests
{
    [Theory]
    [InlineData(9, 8, 7)]
    [InlineData(130, 9, 40)]
    [Trait("Kind", "Property")]
    public void Pieces_are_those_of_a_flood_fill(int columns, int rows, int slices)
    {
        for (var seed = 0; seed < 10; seed++)
        {
            using var volume = Grid.Noise(columns, rows, slices, seed);
            using var region = Threshold.Apply(volume, new HuWindow(1, 1), RunContext.Default);
            using var components = Components.Find(region, volume.Map, RunContext.Default);
            var flood = Flood(region);

            components.Pieces.Select(p => p.Samples).Should().Equal(flood.Select(f => (long)f.Count).OrderDescending());
            components.Pieces.Sum(p => p.Samples).Should().Be(region.CountSamples());

            var largest = flood.Max(f => f.Count);
            using var kept = components.Keep(1, RunContext.Default);
            kept.CountSamples().Should().Be(largest);
            flood.Where(f => f.Count == largest).Should().Contain(f => f.All(s => kept[s.I, s.J, s.K]));
        }
    }

    [Theory]
    [InlineData(9, 8, 7)]
    [InlineData(200, 9, 12)]
    [Trait("Kind", "Property")]
    public void Counted_within_another_region_is_what_sample_by_sample_gives(int columns, int rows, int slices)
    {
        for (var seed = 0; seed < 10; seed++)
        {
            using var volume = Grid.Noise(columns, rows, slices, seed);
            using var other = Grid.Noise(columns, rows, slices, seed + 100);
            // Zeros and ones in one, ones in the other: runs of many lengths, some over several words.
            using var region = Threshold.Apply(volume, seed % 2 == 0 ? new HuWindow(1, 1) : new HuWindow(0, 1), RunContext.Default);
            using var part = Threshold.Apply(other, new HuWindow(1, 1), RunContext.Default);
            using var components = Components.Find(region, volume.Map, RunContext.Default);
            var counts = new long[components.Pieces.Count];
            for (var k = 0; k < slices; k++)
                for (var j = 0; j < rows; j++)
                    for (var i = 0; i < columns; i++)
                        if (part[i, j, k] && components.PieceAt(i, j, k) is >= 0 and var piece)
                            counts[piece]++;
            foreach (var threads in new[] { 1, 2, 3, 16 })
                components.CountWithin(part, new RunContext(threads: threads)).Should().Equal(counts);
        }
    }

    [Fact]
    public void Volume_follows_uneven_slices()
    {
        // Two slices 2 mm apart, then one 6 mm on: samples stand for 2, (2 + 6) / 2 and 6 mm of height.
        var map = new AnatomyPrep.Core.Geometry.IndexToPatient(new(0.5, 0, 0), new(0, 0.5, 0), [new(0, 0, 0), new(0, 0, 2), new(0, 0, 8)]);
        using var volume = Grid.FromIndex(3, 3, map, (i, j, _) => (short)(i == 1 && j == 1 ? 10 : 0));
        using var region = Threshold.Apply(volume, new HuWindow(10, 10), RunContext.Default);
        using var components = Components.Find(region, map, RunContext.Default);
        components.Pieces.Should().Equal(new Component(3, 0.25 * (2 + 4 + 6), AtBorder: true));
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Thread_count_changes_nothing()
    {
        using var volume = Grid.Noise(90, 40, 70, 3, -1, 2);
        using var region = Threshold.Apply(volume, new HuWindow(1, 2), RunContext.Default);
        var results = new[] { 1, 2, 3, 16 }.Select(threads =>
        {
            var run = new RunContext(threads: threads);
            using var components = Components.Find(region, volume.Map, run);
            using var kept = components.Keep(5, run);
            return (string.Join(' ', components.Pieces), Bits(kept));
        }).ToArray();
        results.Distinct().Should().ContainSingle();
    }

    private static string Bits(Region region)
    {
        var hash = System.Security.Cryptography.IncrementalHash.CreateHash(System.Security.Cryptography.HashAlgorithmName.SHA256);
        for (var k = 0; k < region.Slices; k++)
            for (var j = 0; j < region.Rows; j++)
                hash.AppendData(System.Runtime.InteropServices.MemoryMarshal.AsBytes(region.Row(j, k)));
        return Convert.ToHexString(hash.GetHashAndReset());
    }

    private static List<List<(int I, int J, int K)>> Flood(Region region)
    {
        var seen = new HashSet<(int, int, int)>();
        var pieces = new List<List<(int, int, int)>>();
        for (var k = 0; k < region.Slices; k++)
            for (var j = 0; j < region.Rows; j++)
                for (var i = 0; i < region.Columns; i++)
                    if (region[i, j, k] && seen.Add((i, j, k)))
                        pieces.Add(Fill(region, (i, j, k), seen));
        return pieces;
    }

    private static List<(int I, int J, int K)> Fill(Region region, (int I, int J, int K) seed, HashSet<(int, int, int)> seen)
    {
        var piece = new List<(int I, int J, int K)> { seed };
        for (var at = 0; at < piece.Count; at++)
        {
            var (i, j, k) = piece[at];
            foreach (var (a, b, c) in new[] { (i - 1, j, k), (i + 1, j, k), (i, j - 1, k), (i, j + 1, k), (i, j, k - 1), (i, j, k + 1) })
            {
                var inside = a >= 0 && b >= 0 && c >= 0 && a < region.Columns && b < region.Rows && c < region.Slices;
                if (inside && region[a, b, c] && seen.Add((a, b, c)))
                    piece.Add((a, b, c));
            }
        }

        return piece;
    }
}
