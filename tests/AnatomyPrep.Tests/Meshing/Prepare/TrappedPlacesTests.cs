using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Combining;
using AnatomyPrep.Meshing.Prepare;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Tests.Meshing.Shape;

namespace AnatomyPrep.Tests.Meshing.Prepare;

public sealed class TrappedPlacesTests
{
    private static readonly RunContext s_run = RunContext.Default;
    private static readonly Vec3 s_up = new(0, 0, 1);

    [Fact]
    public void Every_trap_of_a_part_is_found_none_is_invented_and_each_drain_opens()
    {
        // A block with: two closed balls, a ball behind a bore of 2 mm, a ball behind a bore of 8 mm, and a bore right through.
        var part = Part();
        var found = Find(part, Profiles.Powder);
        found.Traps.Should().HaveCount(3);
        var voids = found.Traps.Where(t => t.Kind == TrapKind.ClosedVoid).ToArray();
        voids.Should().HaveCount(2);
        // Icosphere 4 in place of a ball: volume ratio 0.997839 (reference-values.md, section 3); float32 and nothing else besides.
        voids[0].VolumeMm3.Should().BeApproximately(0.997839 * 4 / 3 * Math.PI * 1000, 0.5);
        voids[1].VolumeMm3.Should().BeApproximately(0.997839 * 4 / 3 * Math.PI * 216, 0.2);
        Vec3.Distance(voids[0].AtMm, new(20, 20, 20)).Should().BeLessThan(0.1);
        Vec3.Distance(voids[1].AtMm, new(50, 20, 20)).Should().BeLessThan(0.1);
        var throat = found.Traps.Single(t => t.Kind == TrapKind.NarrowThroat);
        throat.ThroatMm.Should().BeInRange(2 - found.CellMm, 2.001);
        // A place with the most room that is told apart: 9 cubes from the wall, and half a cube's diagonal.
        Vec3.Distance(throat.AtMm, new(80, 20, 20)).Should().BeLessThan(8 - (8 * found.CellMm));
        // The room is the ball of 8 mm radius and half the bore at most: cubes at the surface count by their middle.
        throat.VolumeMm3.Should().BeApproximately(4 / 3.0 * Math.PI * 512, 0.1 * 4 / 3.0 * Math.PI * 512);
        found.Traps.Should().OnlyContain(t => t.Drains.Count > 0 && t.Drains.All(d => d.Opens));

        // Each drain by itself, with the exact Boolean: the void it is meant for is open, and the model is still a solid.
        foreach (var trap in voids)
        {
            var drilled = Drain.Apply(part, new(3.5, [trap.Drains[0].ToMm]), s_run);
            drilled.Effect.Measures!["voidsAfter"].Should().Be(1);
            MeshFacts.Measure(drilled.Mesh, s_run).Solid.Should().BeTrue();
        }
    }

    /// <summary>Gel and resin must get out too, low and high; a void with flat sides has no vertex in the middle of one.</summary>
    [Theory]
    [InlineData("jetting-gel", 2)]
    [InlineData("vat", 2)]
    [InlineData("powder", 1)]
    [InlineData("extrusion", 1)]
    public void A_hollow_box_gets_drains_that_open_in_every_process(string process, int holes)
    {
        var hollow = Solids.Merged(Solids.Box(new(0, 0, 0), new(40, 40, 40)), Solids.InsideOut(Solids.Box(new(5, 5, 5), new(35, 35, 35))));
        var profile = AnatomyPrep.App.Pipeline.ProfileLibrary.Load(process).Profile;
        var trap = Find(hollow, profile).Traps.Should().ContainSingle().Subject;
        trap.Kind.Should().Be(TrapKind.ClosedVoid);
        trap.VolumeMm3.Should().BeApproximately(27_000, 1e-6);
        trap.Drains.Should().HaveCount(holes).And.OnlyContain(d => d.Opens && Math.Abs(d.WallMm - 5) < 1e-4);
        Drain.Apply(hollow, new(profile.DrainMm, [.. trap.Drains.Select(d => d.ToMm)]), s_run).Effect.Measures!["voidsAfter"].Should().Be(0);
    }

    [Fact]
    public void A_process_that_fills_nothing_catches_only_what_is_closed()
    {
        var found = Find(Part(), Profiles.Extrusion);
        found.Traps.Should().HaveCount(2).And.OnlyContain(t => t.Kind == TrapKind.ClosedVoid);
    }

    [Fact]
    public void A_cup_that_hangs_in_a_vat_lifts_what_is_in_it()
    {
        // In the vat the build direction points down: a cup whose opening faces the bed (upside down in the build) opens upward in the machine.
        var cup = OrientModelTests.Cup(upsideDown: true);
        var found = Find(cup, Profiles.Vat);
        var trap = found.Traps.Should().ContainSingle().Subject;
        trap.Kind.Should().Be(TrapKind.Cup);
        // 20 × 20 × 28, to a cube of the raster along each wall.
        trap.VolumeMm3.Should().BeApproximately(20 * 20 * 28, 2 * found.CellMm * ((20 * 20) + (4 * 20 * 28)));
        trap.Drains.Should().ContainSingle().Which.Opens.Should().BeTrue();
        Find(OrientModelTests.Cup(upsideDown: false), Profiles.Vat).Traps.Should().BeEmpty("it empties into the vat");
        Find(cup, Profiles.Powder).Traps.Should().BeEmpty("powder is shaken out");
    }

    [Fact]
    public void Communicating_vessels_drain_to_the_lower_mouth()
    {
        // A tube bent to a U from boxes: one arm 30 high, the other 12, walls 2, inside 6 wide. Liquid stays up to 12 alone.
        var outer = Solids.Merged(Solids.Box(new(0, 0, 0), new(30, 10, 10)), Solids.Box(new(0, 0, 10.1), new(10, 10, 30)), Solids.Box(new(20, 0, 10.1), new(30, 10, 12)));
        var cell = 0.25;
        var voxels = SolidVoxels.Of(outer, s_up, cell, s_run);
        var inside = (byte[])voxels.Inside.Clone();
        Fill(voxels, inside, new(0, 0, 9.5), new(10, 10, 30), 1);
        Fill(voxels, inside, new(20, 0, 9.5), new(30, 10, 12), 1);
        Fill(voxels, inside, new(2, 2, 2), new(28, 8, 8), 0);
        Fill(voxels, inside, new(2, 2, 2), new(8, 8, 31), 0);
        Fill(voxels, inside, new(22, 2, 2), new(28, 8, 31), 0);
        var pool = Pools.Find(voxels, inside, downward: false, 10, s_run).Should().ContainSingle().Subject;
        pool.Closed.Should().BeFalse();
        // 26 × 6 × 6 below, and 4 more in both arms: 936 + 2 · 6 · 6 · 4; a cube of the raster along each wall.
        pool.VolumeMm3.Should().BeApproximately(1224, 0.1 * 1224);
    }

    [Fact]
    public void A_neck_between_two_balls_is_found_with_its_width()
    {
        var dumbbell = SolidEdit.Apply("test", BooleanOperation.Union, Solids.Icosphere(4, 12), [Solids.Icosphere(4, 12, new(30, 0, 0)), SolidShapes.Frustum(Vec3.Zero, new(0, 0, 0), new(30, 0, 0), 1, 1, 32, Origin.Measured)], s_run).Mesh;
        var found = Find(dumbbell, Profiles.Extrusion);
        var neck = found.Necks.Should().ContainSingle().Subject;
        neck.DiameterMm.Should().BeInRange(2 - found.CellMm, 2.001);
        neck.AtMm.X.Should().BeInRange(11, 19);
        neck.LighterMm3.Should().BeApproximately(4 / 3.0 * Math.PI * 1728, 0.05 * 4 / 3.0 * Math.PI * 1728);
        Find(Solids.Icosphere(4, 12), Profiles.Extrusion).Necks.Should().BeEmpty();
        Find(SupportNeedTests.TShape(), Profiles.Extrusion).Necks.Should().BeEmpty("10 mm are no neck");
    }

    [Fact]
    public void Two_ways_between_two_masses_are_a_neck_only_where_both_are_narrow()
    {
        Mesh Joined(double secondRadius) => SolidEdit.Apply(
            "test",
            BooleanOperation.Union,
            Solids.Box(new(-40, -15, -10), new(-12, 15, 10)),
            [Solids.Box(new(12, -15, -10), new(40, 15, 10)), SolidShapes.Frustum(Vec3.Zero, new(-20, -8, 0), new(20, -8, 0), 1, 1, 32, Origin.Measured), SolidShapes.Frustum(Vec3.Zero, new(-20, 8, 0), new(20, 8, 0), secondRadius, secondRadius, 32, Origin.Measured)],
            s_run).Mesh;
        Find(Joined(5), Profiles.Extrusion).Necks.Should().BeEmpty("the wide way holds");
        Find(Joined(1.2), Profiles.Extrusion).Necks.Should().ContainSingle().Which.DiameterMm.Should().BeInRange(2.4 - 0.375, 2.401, "the wider of the two");
    }

    [Fact]
    public void Clearances_are_exact_below_the_cut_off()
    {
        var random = new Random(7);
        const int N = 20;
        var cubes = new byte[N * N * N];
        for (var i = 0; i < cubes.Length; i++)
            cubes[i] = random.Next(40) == 0 ? (byte)1 : (byte)0;
        var found = Clearances.Of(cubes, 0, N, N, N, 6, s_run);
        var set = Enumerable.Range(0, cubes.Length).Where(i => cubes[i] == 1).Select(i => (X: i % N, Y: i / N % N, Z: i / (N * N))).ToArray();
        for (var i = 0; i < cubes.Length; i += 7)
        {
            var (x, y, z) = (i % N, i / N % N, i / (N * N));
            var nearest = set.Min(s => ((s.X - x) * (s.X - x)) + ((s.Y - y) * (s.Y - y)) + ((s.Z - z) * (s.Z - z)));
            found[i].Should().Be((byte)Math.Min(36, nearest));
        }

        foreach (var threads in (int[])[1, 2, 3, 16])
            Clearances.Of(cubes, 0, N, N, N, 6, new RunContext(threads: threads)).Should().Equal(found);
    }

    [Fact]
    public void Same_answer_on_any_number_of_threads()
    {
        var part = Solids.Merged(Solids.Box(new(0, 0, 0), new(40, 40, 40)), Solids.InsideOut(Solids.Icosphere(3, 8, new(20, 20, 20))));
        string Text(int threads)
        {
            var run = new RunContext(threads: threads);
            var found = TrappedPlaces.Find(part, TriangleTree.Build(part, run), Profiles.Vat, s_up, false, run);
            return string.Join('\n', found.Traps.Select(t => $"{t with { Drains = [] }} {string.Join(' ', t.Drains)}").Concat(found.Necks.Select(n => $"{n}")));
        }

        var first = Text(1);
        foreach (var threads in (int[])[2, 3, 16])
            Text(threads).Should().Be(first);
    }

    private static TrappedPlaces Find(Mesh mesh, PrintProfile profile) => TrappedPlaces.Find(mesh, TriangleTree.Build(mesh, s_run), profile, s_up, true, s_run);

    private static Mesh Part()
    {
        var block = Solids.Box(new(0, 0, 0), new(160, 40, 40));
        Mesh Bore(double x, double radius, double from, double to) => SolidShapes.Frustum(Vec3.Zero, new(x, 20, from), new(x, 20, to), radius, radius, 48, Origin.Cut);
        var cut = SolidEdit.Apply(
            "test",
            BooleanOperation.Difference,
            block,
            [Solids.Icosphere(4, 8, new(80, 20, 20)), Bore(80, 1, 20, 45), Solids.Icosphere(4, 8, new(110, 20, 20)), Bore(110, 4, 20, 45), Bore(140, 1, -5, 45)],
            s_run).Mesh;
        return Solids.Merged(cut, Solids.InsideOut(Solids.Icosphere(4, 10, new(20, 20, 20))), Solids.InsideOut(Solids.Icosphere(4, 6, new(50, 20, 20))));
    }

    private static void Fill(SolidVoxels voxels, byte[] inside, Vec3 low, Vec3 high, byte value)
    {
        var box = new Box3(low, high);
        for (var i = 0; i < inside.Length; i++)
            if (box.Contains(voxels.At(i)))
                inside[i] = value;
    }
}
