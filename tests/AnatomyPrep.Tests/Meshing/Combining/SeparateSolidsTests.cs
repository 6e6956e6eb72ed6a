using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Combining;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Tests.Meshing.Combining;

public sealed class SeparateSolidsTests
{
    private static readonly RunContext s_run = RunContext.Default;

    [Fact]
    [Trait("Kind", "Truth")]
    public void What_boxes_share_goes_to_the_first_and_nothing_is_shared_afterwards()
    {
        Mesh[] boxes = [Box(0, 10), Box(5, 15), Box(12, 22)];
        var separated = SeparateSolids.Apply(boxes, 0, s_run);

        // Each box has 10 x 10 mm across; they share 5 mm and then 3 mm of length.
        separated.Select(s => MeshMeasures.SignedVolumeMm3(s.Mesh)).Should().Equal([1000, 500, 700], (a, b) => Math.Abs(a - b) < 1e-6);
        separated.Select(s => s.RemovedMm3).Should().Equal([0, 500, 300], (a, b) => Math.Abs(a - b) < 1e-6);
        separated[0].Mesh.Should().BeSameAs(boxes[0]);
        separated.Should().OnlyContain(s => MeshFacts.Measure(s.Mesh, s_run).Solid);
        for (var a = 0; a < 3; a++)
            for (var b = a + 1; b < 3; b++)
                SeparateSolids.SharedMm3(separated[a].Mesh, separated[b].Mesh, s_run).Should().BeLessThan(1e-9);
        SeparateSolids.SharedMm3(boxes[0], boxes[1], s_run).Should().BeApproximately(500, 1e-6);
    }

    [Fact]
    public void A_ball_in_a_ball_leaves_a_shell_that_keeps_the_inner_wall_bit_for_bit()
    {
        var inner = TestMeshes.Icosphere(3, 8, new(1, 2, 3));
        var outer = TestMeshes.Icosphere(4, 20, new(0, 1, 2));
        var shell = SeparateSolids.Apply([inner, outer], 1, s_run)[1];
        shell.RemovedMm3.Should().BeApproximately(MeshMeasures.SignedVolumeMm3(inner), 1e-3);
        shell.Mesh.VertexCount.Should().Be(inner.VertexCount + outer.VertexCount);
        shell.Mesh.Positions[..outer.Positions.Length].ToArray().Should().Equal(outer.PositionArray);
        MeshFacts.Measure(shell.Mesh, s_run).Solid.Should().BeTrue();
        // The walls coincide over 4π·8² = 804 mm²; the engine tells sides apart to one step of float32 at 8 mm, 4.8e-7 mm.
        SeparateSolids.SharedMm3(inner, shell.Mesh, s_run).Should().BeLessThan(804 * 4.8e-7);
    }

    [Fact]
    public void Solids_that_lie_apart_are_handed_back()
    {
        Mesh[] apart = [Box(0, 10), Box(11, 20)];
        SeparateSolids.Apply(apart, 1, s_run).Select(s => s.Mesh).Should().Equal(apart);
        SeparateSolids.SharedMm3(apart[0], apart[1], s_run).Should().Be(0);
    }

    [Fact]
    public void A_solid_inside_an_earlier_one_is_empty_afterwards_and_crumbs_are_dropped_and_counted()
    {
        var inside = SeparateSolids.Apply([Box(0, 10), TestMeshes.Box(new(1, 1, 1), new(9, 9, 9))], 1, s_run)[1];
        inside.Mesh.TriangleCount.Should().Be(0);
        inside.RemovedMm3.Should().BeApproximately(512, 1e-6);

        // A bar through a box sticks out by 0.004 mm at one end (0.4 mm³) and by 10 mm at the other.
        var bar = SeparateSolids.Apply([Box(0, 10), TestMeshes.Box(new(-0.004, 0, 0), new(20, 10, 10))], 1, s_run)[1];
        (bar.Slivers, MeshFacts.Measure(bar.Mesh, s_run).Components).Should().Be((1, 1));
        // The end of the bar is rounded to float32 at 0.004: to 2e-10.
        bar.SliversMm3.Should().BeApproximately(0.4, 1e-6);
        MeshMeasures.SignedVolumeMm3(bar.Mesh).Should().BeApproximately(1000, 1e-6);
    }

    [Fact]
    public void An_open_mesh_is_refused_by_name()
    {
        var act = () => SeparateSolids.Apply([Box(0, 10), Box(5, 15).Without(0)], 1, s_run);
        act.Should().Throw<CheckFailedException>().WithMessage("*closed solid*");
        FluentActions.Invoking(() => SeparateSolids.Apply([Box(0, 10)], -1, s_run)).Should().Throw<ArgumentOutOfRangeException>();
    }

    [Fact]
    public void Any_number_of_threads_gives_the_same_bytes()
    {
        Mesh[] balls = [TestMeshes.Icosphere(3, 10), TestMeshes.Icosphere(3, 10, new(7, 1, 0)), TestMeshes.Icosphere(3, 9, new(3, 8, 2))];
        var one = SeparateSolids.Apply(balls, 1, new(threads: 1));
        foreach (var threads in (int[])[2, 3, 16])
            foreach (var (a, b) in one.Zip(SeparateSolids.Apply(balls, 1, new(threads: threads))))
            {
                b.Mesh.PositionArray.Should().Equal(a.Mesh.PositionArray);
                b.Mesh.TriangleArray.Should().Equal(a.Mesh.TriangleArray);
            }
    }

    private static Mesh Box(double fromMm, double toMm) => TestMeshes.Box(new(fromMm, 0, 0), new(toMm, 10, 10));
}
