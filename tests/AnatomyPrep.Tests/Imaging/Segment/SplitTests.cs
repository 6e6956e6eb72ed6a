using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Segment;
using AnatomyPrep.Meshing.Surface;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Phantoms.Catalogue;

namespace AnatomyPrep.Tests.Imaging.Segment;

public sealed class SplitTests
{
    private static readonly RunContext s_run = RunContext.Default;
    private static readonly Vec3 s_first = new(-14, -8.5, -6);
    private static readonly Vec3 s_second = new(14, 8.5, 6.16);

    [Theory]
    [InlineData(0, 0)]
    [InlineData(1, 0)]
    [InlineData(1, 15)]
    [InlineData(1, 0, 12)]
    [Trait("Kind", "Truth")]
    public void Two_bones_that_touch_are_parted_from_one_point_each(double gradientWeightMm, double tiltDeg, double noiseHu = 0)
    {
        using var volume = PhantomCatalogue.Create("touching-bones", new PhantomOptions { GantryTiltDeg = tiltDeg, NoiseSigmaHu = noiseHu }).ToVolume(s_run);
        using var both = Threshold.Apply(volume, new(520, short.MaxValue), s_run);
        using (var joined = Components.Find(both, volume.Map, s_run))
            joined.Pieces.Should().ContainSingle("one threshold cannot part them");

        // Points a person would put down: on each bone, not in its middle.
        using var split = Split.Apply(volume, both, new([[s_first + new Vec3(-9, 3, 4)], [s_second + new Vec3(4, 7, -5)]], gradientWeightMm), s_run);

        // Balls of 18 mm: the plane half way between their middles parts them.
        bool InFirst(int i, int j, int k) => both[i, j, k] && volume.Map.Map(i, j, k) is var p && Vec3.Distance(p, s_first) < Vec3.Distance(p, s_second);
        RegionBits.Dice(split.Parts[0], InFirst).Should().BeGreaterThan(0.99);
        RegionBits.Dice(split.Parts[1], (i, j, k) => both[i, j, k] && !InFirst(i, j, k)).Should().BeGreaterThan(0.99);
        (split.Parts[0].CountSamples() + split.Parts[1].CountSamples() + split.Unseeded.CountSamples()).Should().Be(both.CountSamples(), "no sample is lost or doubled");

        var mesh = FlyingEdges.Extract(volume, split.Parts[0], s_run).Mesh;
        MeshFacts.Measure(mesh, s_run).Solid.Should().BeTrue();
        // The neck is a disc of radius sqrt(18² - 17.47²) = 4.3 mm, 59 mm²; in steps of samples at most √3 times that, and a rim of one cell.
        var cutMm2 = MeshMeasures.AreaByOriginMm2(mesh)[(int)Origin.Cut];
        cutMm2.Should().BeInRange(40, (59 * Math.Sqrt(3)) + (2 * Math.PI * 4.3 * 0.8 * 2));
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Three_parts_of_a_chain_come_apart_at_their_necks()
    {
        using var volume = Grid.FromPatient(101, 41, Grid.Map(101, 41, 41), p => 1000 * Math.Clamp(0.5 + (14.5 - new[] { -25, 0, 25 }.Min(c => Vec3.Distance(p, new(c, 0, 0)))), 0, 1));
        using var chain = Threshold.Apply(volume, new(500, short.MaxValue), s_run);
        using var split = Split.Apply(volume, chain, new([[new(-30, 2, 0)], [new(3, 3, 3)], [new(31, 0, -4)]]), s_run);
        for (var part = 0; part < 3; part++)
        {
            double low = -37.5 + (25 * part), high = low + 25;
            RegionBits.Dice(split.Parts[part], (i, j, k) => chain[i, j, k] && volume.Map.Map(i, j, k).X is var x && (part == 0 || x > low) && (part == 2 || x < high)).Should().BeGreaterThan(0.99);
        }
    }

    [Fact]
    [Trait("Kind", "Slow")]
    public void The_lower_jaw_comes_off_a_skull_from_one_point_on_each()
    {
        // Closing with 2.5 mm at 200 HU joins what lies less than 5 mm apart: both joints, the rows of teeth, neck and skull.
        var phantom = PhantomCatalogue.Create("teaching-skull");
        using var volume = phantom.ToVolume(s_run);
        using var bones = Threshold.Apply(volume, new(200, short.MaxValue), s_run);
        using var closed = Morphology.Close(bones, volume.Map, 2.5, s_run);
        using var pieces = Components.Find(closed, volume.Map, s_run);
        using var joined = pieces.Keep(1, s_run);
        var points = phantom.Scene.Landmarks.ToDictionary(l => l.Name, l => l.PositionMm);
        using var split = Split.Apply(volume, joined, new([[points["seed in the skull"]], [points["seed in the lower jaw"]]]), s_run);

        // Truth: a sample belongs to the solid it is nearest to.
        var solids = phantom.Scene.Layers.ToDictionary(l => l.Name, l => l.Solid);
        double Nearest(Vec3 p, params string[] names) => names.Min(n => solids[n].DistanceMm(p));
        bool IsJaw(int i, int j, int k) => joined[i, j, k] && volume.Map.Map(i, j, k) is var p && Nearest(p, "lower jaw", "lower teeth") < Nearest(p, "skull", "upper teeth", "neck vertebra 1", "neck vertebra 2");
        RegionBits.Dice(split.Parts[1], IsJaw).Should().BeGreaterThan(0.99);
        RegionBits.Dice(split.Parts[0], (i, j, k) => joined[i, j, k] && !IsJaw(i, j, k)).Should().BeGreaterThan(0.99);
    }

    [Fact]
    public void What_no_point_lies_on_comes_back_apart()
    {
        using var volume = Grid.FromPatient(81, 31, Grid.Map(81, 31, 31), p => 1000 * (9 - new[] { -24.0, -8, 25 }.Min(c => Vec3.Distance(p, new(c, 0, 0)))));
        using var three = Threshold.Apply(volume, new(0, short.MaxValue), s_run);
        using var split = Split.Apply(volume, three, new([[new(-24, 0, 0)], [new(-8, 0, 0)]]), s_run);
        RegionBits.Inside(split.Unseeded).Should().NotBeEmpty().And.OnlyContain(s => volume.Map.Map(s.I, s.J, s.K).X > 10);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Points_that_cannot_be_used_are_named()
    {
        using var volume = Grid.FromPatient(21, 21, Grid.Map(21, 21, 21), p => 1000 * (7 - p.Length));
        using var ball = Threshold.Apply(volume, new(0, short.MaxValue), s_run);
        void Run(params IReadOnlyList<Vec3>[] parts) => Split.Apply(volume, ball, new(parts), s_run).Dispose();
        ((Action)(() => Run([Vec3.Zero]))).Should().Throw<BadInputException>().WithMessage("*2 to 250 parts*");
        ((Action)(() => Run([Vec3.Zero], []))).Should().Throw<BadInputException>().WithMessage("*at least one point*");
        ((Action)(() => Run([Vec3.Zero], [new(1.2, 0, 0)]))).Should().Throw<BadInputException>().WithMessage("*another part*");
        ((Action)(() => Run([Vec3.Zero], [new(10, 10, 10)]))).Should().Throw<BadInputException>().WithMessage("*within 3 mm*");
        var small = () => Split.Apply(volume, ball, new([[new(1, 0, 0)], [new(-1, 0, 0)]]), new RunContext(memory: new MemoryBudget(1000)));
        small.Should().Throw<BadInputException>().WithMessage("*memory*Crop*");
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Thread_count_changes_nothing()
    {
        using var volume = Grid.Noise(60, 50, 40, 4, 0, 9);
        using var region = Threshold.Apply(volume, new(2, 9), s_run);
        new[] { 1, 2, 3, 16 }.Select(threads =>
        {
            using var split = Split.Apply(volume, region, new([[new(-20, 0, 0)], [new(20, 5, 5)], [new(0, -20, 10)]]), new RunContext(threads: threads));
            return string.Join(' ', split.Parts.Append(split.Unseeded).Select(RegionBits.Hash));
        }).Distinct().Should().ContainSingle();
    }
}
