using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Segment;
using AnatomyPrep.Tests.Core.Volumes;

namespace AnatomyPrep.Tests.Imaging.Segment;

public sealed class GrowTests
{
    private static readonly RunContext s_run = RunContext.Default;

    [Theory]
    [InlineData(null)]
    [InlineData(3.0)]
    [Trait("Kind", "Property")]
    public void It_takes_what_a_flood_from_the_seeds_reaches(double? limit)
    {
        for (var seed = 0; seed < 8; seed++)
        {
            using var volume = Grid.Noise(70, 9, 8, seed, -4, 4);
            var window = new HuWindow(-1, 4);
            var start = (I: 0, J: 0, K: 0);
            bool Admitted(int i, int j, int k) => window.Contains(volume[i, j, k]) && !(limit < SteepnessHuPerMm(volume, i, j, k));
            while (!Admitted(start.I, start.J, start.K))
                start = start with { I = start.I + 1 };
            var grown = Grow.Apply(volume, new([volume.Map.Map(start.I, start.J, start.K)], window, limit), s_run);
            using (grown.Region)
                Flood(volume, start, Admitted).SetEquals(RegionBits.Inside(grown.Region)).Should().BeTrue("of seed {0}", seed);
        }
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Steepness_is_exact_for_a_linear_field_in_a_tilted_uneven_volume()
    {
        var map = PatientSamplerTests.Oblique(12, 9, 7, Vec3.Zero);
        using var volume = Grid.FromPatient(12, 9, map, p => (200 * p.X) - (100 * p.Y) + (50 * p.Z));
        var steepness = Math.Sqrt((200.0 * 200) + (100 * 100) + (50 * 50));
        // Rounded to whole HU: each difference is off by at most 1 HU over 0.6 mm or more, in three directions.
        var slack = 3 / 0.6;
        var all = new HuWindow(short.MinValue, short.MaxValue);
        var seed = new[] { map.Map(6, 4, 3) };
        using (var open = Grow.Apply(volume, new(seed, all, steepness + slack), s_run).Region)
            open.CountSamples().Should().Be(12 * 9 * 7);
        var act = () => Grow.Apply(volume, new(seed, all, steepness - slack), s_run);
        act.Should().Throw<BadInputException>().WithMessage("*per mm there*maxGradientHuPerMm*");
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_gradient_limit_keeps_a_bright_neighbour_out_and_leaves_the_outer_boundary_where_it_was()
    {
        // A rod of 300 HU that touches a block of 900 HU with a soft edge; both in -100 HU. The window cannot part them.
        static double Ramp(double d) => Math.Clamp(0.5 - (d / 3), 0, 1);
        static double Hu(Vec3 p)
        {
            var rod = Math.Max(Math.Sqrt((p.Y * p.Y) + (p.Z * p.Z)) - 5, -12 - p.X);
            var block = 4 - p.X;
            return -100 + (400 * Ramp(rod)) + ((p.X > 0 ? 600 + (400 * (1 - Ramp(rod))) : 0) * Ramp(block));
        }

        using var volume = Grid.FromPatient(61, 41, Grid.Map(61, 41, 41, 0.5, 0.5, 0.5), Hu);
        Vec3[] seed = [new(-6, 0, 0)];
        var window = new HuWindow(100, short.MaxValue);
        using var free = Grow.Apply(volume, new(seed, window), s_run).Region;
        // The core ends where the edge begins, 1.5 mm inside, less a sample that the difference reaches over.
        using var held = Grow.Apply(volume, new(seed, window, 100, 2.2), s_run).Region;
        using var plain = Threshold.Apply(volume, window, s_run);

        free.CountSamples().Should().Be(plain.CountSamples(), "the window alone lets it into the block");
        RegionBits.Inside(held).Should().OnlyContain(s => volume.Map.Map(s.I, s.J, s.K).X < 6);
        foreach (var (i, j, k) in RegionBits.Inside(plain).Where(s => volume.Map.Map(s.I, s.J, s.K).X < 1))
            held[i, j, k].Should().BeTrue("on the rod every sample of the window is taken, so grey values place its surface");
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Seeds_that_cannot_be_used_are_named_with_their_value()
    {
        using var volume = Grid.Noise(9, 9, 9, 1, 0, 0);
        RegionResult Run(params Vec3[] seeds) => Grow.Apply(volume, new(seeds, new(1, 10)), s_run);
        ((Action)(() => Run())).Should().Throw<BadInputException>().WithMessage("*at least one point*");
        ((Action)(() => Run(new Vec3(99, 0, 0)))).Should().Throw<BadInputException>().WithMessage("*99, 0, 0*outside the images*");
        ((Action)(() => Run(new Vec3(double.NaN, 0, 0)))).Should().Throw<BadInputException>().WithMessage("*outside the images*");
        ((Action)(() => Run(Vec3.Zero))).Should().Throw<BadInputException>().WithMessage("*0 HU, outside 1 to 10*");
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Thread_count_changes_nothing()
    {
        using var volume = Grid.Noise(90, 40, 50, 3, -3, 9);
        var seed = volume.Map.Map(45, 20, 25);
        new[] { 1, 2, 3, 16 }.Select(threads =>
        {
            using var grown = Grow.Apply(volume, new([seed], new(-3, 8), 8, 1), new RunContext(threads: threads)).Region;
            return RegionBits.Hash(grown);
        }).Distinct().Should().ContainSingle();
    }

    private static double SteepnessHuPerMm(Volume volume, int i, int j, int k)
    {
        double Along(int at, int count, Func<int, short> value)
        {
            int high = Math.Min(at + 1, count - 1), low = Math.Max(at - 1, 0);
            return (value(high) - value(low)) / (double)Math.Max(1, high - low);
        }

        double x = Along(i, volume.Columns, n => volume[n, j, k]), y = Along(j, volume.Rows, n => volume[i, n, k]), z = Along(k, volume.Slices, n => volume[i, j, n]);
        return Math.Sqrt((x * x) + (y * y) + (z * z));
    }

    private static HashSet<(int, int, int)> Flood(Volume volume, (int I, int J, int K) start, Func<int, int, int, bool> admitted)
    {
        var seen = new HashSet<(int, int, int)> { start };
        var queue = new Queue<(int I, int J, int K)>([start]);
        while (queue.TryDequeue(out var s))
        {
            foreach (var (i, j, k) in new[] { (s.I - 1, s.J, s.K), (s.I + 1, s.J, s.K), (s.I, s.J - 1, s.K), (s.I, s.J + 1, s.K), (s.I, s.J, s.K - 1), (s.I, s.J, s.K + 1) })
            {
                var inside = i >= 0 && j >= 0 && k >= 0 && i < volume.Columns && j < volume.Rows && k < volume.Slices;
                if (inside && admitted(i, j, k) && seen.Add((i, j, k)))
                    queue.Enqueue((i, j, k));
            }
        }

        return seen;
    }
}
