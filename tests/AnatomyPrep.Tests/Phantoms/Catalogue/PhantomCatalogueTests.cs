using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Phantoms.Catalogue;

namespace AnatomyPrep.Tests.Phantoms.Catalogue;

public sealed class PhantomCatalogueTests
{
    public static TheoryData<string> Names => [.. PhantomCatalogue.Names];

    [Theory]
    [Trait("Kind", "Property")]
    [MemberData(nameof(Names))]
    public void Every_phantom_is_small_and_holds_its_structures_whole(string name)
    {
        var series = PhantomCatalogue.Create(name);
        series.Scene.Name.Should().Be(name);
        PhantomCatalogue.Purpose(name).Should().EndWith(".");
        (2L * series.Acquisition.Columns * series.Acquisition.Rows * series.Slices).Should().BeLessThan(name == DemoSeries.PhantomName ? 30_000_000 : 15_000_000);
        // What the truth is stated of must not reach the border of the picture. Bounds of blended solids are too wide for this.
        foreach (var layer in series.Scene.Layers.Where(l => l.Solid.ClosedForm(0) is not null))
        {
            var inner = series.Scene.FieldOfViewMm.Grown(-1);
            inner.Contains(layer.Solid.BoundsMm.Min).Should().BeTrue("of {0}", layer.Name);
            inner.Contains(layer.Solid.BoundsMm.Max).Should().BeTrue("of {0}", layer.Name);
        }
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void An_unknown_name_is_answered_with_the_known_ones()
    {
        var ask = () => PhantomCatalogue.Create("skul");
        ask.Should().Throw<PlanException>().WithMessage("*skul*teaching-skull*");
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Teaching_skull_falls_into_the_solids_it_states()
    {
        // Without noise and a little coarser than the demonstration: the gaps between bones are at least 3 mm.
        var series = PhantomCatalogue.Create(DemoSeries.PhantomName, new PhantomOptions { NoiseSigmaHu = 0, SpacingMm = new Vec3(1.25, 1.25, 1.25) });
        using var volume = series.ToVolume(RunContext.Default);
        var sizes = Pieces(volume, 300);
        sizes.Should().HaveCount(TeachingSkullScene.BonesAt300Hu);
        IsEmptyAtTheBorder(volume, 300).Should().BeTrue();
        // The skull is by far the largest, the jaw the next; both within the size of their kind.
        var voxel = Math.Pow(1.25, 3);
        (sizes[0] * voxel).Should().BeInRange(600_000, 900_000);
        (sizes[1] * voxel).Should().BeInRange(60_000, 110_000);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Teaching_skull_has_the_room_of_a_brain()
    {
        // Cranial capacity of adults 1200 to 1700 cm³ (from memory, anatomy textbooks).
        var (volume, _) = AnatomyPrep.Phantoms.Solids.VolumeIntegral.Of(TeachingSkullBones.Cavity(), 0, 4, RunContext.Default);
        volume.Should().BeInRange(1_200_000, 1_700_000);
    }

    [Fact]
    [Trait("Kind", "Slow")]
    public void Demonstration_is_written_whole_with_its_truth_beside_it()
    {
        using var folder = new TestFolder();
        var written = DemoSeries.Write(folder["demo"], RunContext.Default);
        Directory.GetFiles(written.SeriesFolder).Should().HaveCount(written.Files.Count);
        written.Files.Should().HaveCount(PhantomCatalogue.Create(DemoSeries.PhantomName).Slices);
        File.ReadAllText(written.TruthFile).Should().Contain("\"bodies\": 6");
        Path.GetDirectoryName(written.TruthFile).Should().Be(folder["demo"]);
        // Its noise makes no crumb of bone: the model falls into the same six solids.
        using var volume = PhantomCatalogue.Create(DemoSeries.PhantomName).ToVolume(RunContext.Default);
        Pieces(volume, 300).Should().HaveCount(TeachingSkullScene.BonesAt300Hu);
    }

    private static bool IsEmptyAtTheBorder(Volume volume, short levelHu)
    {
        for (var k = 0; k < volume.Slices; k++)
            for (var j = 0; j < volume.Rows; j++)
            {
                var row = volume.Row(j, k);
                var edge = k == 0 || k == volume.Slices - 1 || j == 0 || j == volume.Rows - 1;
                if (edge ? row.ContainsAnyExceptInRange(short.MinValue, (short)(levelHu - 1)) : row[0] >= levelHu || row[^1] >= levelHu)
                    return false;
            }

        return true;
    }

    /// <summary>Sizes of 6-connected pieces at or above a level, largest first; flood fill with a stack.</summary>
    private static List<int> Pieces(Volume volume, short levelHu)
    {
        int nx = volume.Columns, ny = volume.Rows, nz = volume.Slices;
        var open = new bool[nx * ny * nz];
        for (var k = 0; k < nz; k++)
            for (var i = 0; i < nx * ny; i++)
                open[(k * nx * ny) + i] = volume.Slice(k)[i] >= levelHu;
        var sizes = new List<int>();
        var stack = new Stack<int>();
        void Visit(int at)
        {
            if (!open[at])
                return;
            open[at] = false;
            stack.Push(at);
        }

        for (var start = 0; start < open.Length; start++)
        {
            if (!open[start])
                continue;
            var size = 0;
            Visit(start);
            while (stack.TryPop(out var at))
            {
                size++;
                int x = at % nx, y = at / nx % ny, z = at / nx / ny;
                if (x > 0) Visit(at - 1);
                if (x < nx - 1) Visit(at + 1);
                if (y > 0) Visit(at - nx);
                if (y < ny - 1) Visit(at + nx);
                if (z > 0) Visit(at - (nx * ny));
                if (z < nz - 1) Visit(at + (nx * ny));
            }

            sizes.Add(size);
        }

        return [.. sizes.OrderDescending()];
    }
}
