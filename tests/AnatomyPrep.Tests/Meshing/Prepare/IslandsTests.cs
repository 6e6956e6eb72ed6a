using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Prepare;
using AnatomyPrep.Tests.Meshing.Shape;

namespace AnatomyPrep.Tests.Meshing.Prepare;

public sealed class IslandsTests
{
    private static readonly RunContext s_run = RunContext.Default;
    private static readonly Vec3 s_up = new(0, 0, 1);

    [Fact]
    public void A_table_that_hangs_down_at_two_corners_begins_twice()
    {
        // A sheet of 1 mm with a hill in the middle that stands on the bed and two dents at heights 4 and 7.
        static double Bottom(double x, double y) =>
            10 - (10 * Math.Exp(-(((x - 20) * (x - 20)) + ((y - 20) * (y - 20))) / 20))
            - (6 * Math.Exp(-(((x - 5) * (x - 5)) + ((y - 5) * (y - 5))) / 6))
            - (3 * Math.Exp(-(((x - 35) * (x - 35)) + ((y - 5) * (y - 5))) / 6));
        var grid = Solids.GridBox(40, 40);
        var model = Solids.Moved(grid, (_, p) => new(p.X, p.Y, p.Z == 0 ? Bottom(p.X, p.Y) : 15 + (p.Z / 100)));
        var found = Islands.Find(model, s_up, 0.2, s_run);
        found.Should().HaveCount(2);
        found[0].AboveBedMm.Should().BeApproximately(4, 1e-3);
        found[0].AtMm.X.Should().BeApproximately(5, 1e-6);
        found[1].AboveBedMm.Should().BeApproximately(7, 1e-3);
        found[1].RiseMm.Should().BeApproximately(3, 0.02, "it meets the rest at the sheet's height");
        found[1].Layer.Should().BeInRange(35, 36, "7 mm are 35 layers, to rounding");
    }

    [Fact]
    public void Bottoms_of_hollows_and_what_stands_on_the_bed_are_none()
    {
        Islands.Find(OrientModelTests.Cup(upsideDown: false), s_up, 0.2, s_run).Should().BeEmpty();
        Islands.Find(OrientModelTests.Cup(upsideDown: true), s_up, 0.2, s_run).Should().BeEmpty("its rim stands on the bed");
        var hollow = Solids.Merged(Solids.Box(new(0, 0, 0), new(20, 20, 20)), Solids.InsideOut(Solids.Icosphere(3, 6, new(10, 10, 10))));
        Islands.Find(hollow, s_up, 0.2, s_run).Should().BeEmpty();
        Islands.Find(SupportNeedTests.TShape(), s_up, 0.2, s_run).Should().BeEmpty("the slab grows from the post");
        Islands.Find(Solids.Merged(), s_up, 0.2, s_run).Should().BeEmpty();
    }

    [Fact]
    public void A_piece_in_the_air_never_meets_the_rest()
    {
        var two = Solids.Merged(Solids.Box(new(0, 0, 0), new(10, 10, 10)), Solids.Icosphere(3, 4, new(30, 0, 20)));
        var island = Islands.Find(two, s_up, 0.1, s_run).Should().ContainSingle().Subject;
        island.RiseMm.Should().Be(double.PositiveInfinity);
        island.AboveBedMm.Should().BeApproximately(16, 0.05);
    }

    [Fact]
    public void A_stalactite_in_a_bell_is_one()
    {
        // The bell's ceiling at 28 carries a box that hangs to 10.
        var bell = OrientModelTests.Cup(upsideDown: true);
        var lift = Solids.Moved(bell, (_, p) => new(p.X, p.Y, p.Z + 30));
        // Two overlapping pieces: the box begins at 10, alone in its layer.
        var model = Solids.Merged(lift, Solids.Box(new(10, -14, 10), new(14, -10, 29)));
        Islands.Find(model, s_up, 0.2, s_run).Should().Contain(i => Math.Abs(i.AboveBedMm - 10) < 1e-3);
    }
}
