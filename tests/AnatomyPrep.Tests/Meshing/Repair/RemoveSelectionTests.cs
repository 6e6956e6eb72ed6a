using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Repair;

namespace AnatomyPrep.Tests.Meshing.Repair;

public class RemoveSelectionTests
{
    private static readonly RunContext s_run = RunContext.Default;
    private static readonly Mesh s_sphere = TestMeshes.Icosphere(4, 10);

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_plane_halves_a_sphere_and_keeping_the_other_side_is_the_complement()
    {
        var half = new HalfSpaceSelection(Vec3.Zero, new Vec3(0, 0, 1));

        var lower = RemoveSelection.Apply(s_sphere, new(half), s_run);
        var upper = RemoveSelection.Apply(s_sphere, new(half, KeepChosen: true), s_run);

        (lower.Mesh.TriangleCount + upper.Mesh.TriangleCount).Should().Be(s_sphere.TriangleCount);
        lower.Effect.Measures!["removedAreaMm2"].Should().BeApproximately(200 * Math.PI, 200 * Math.PI * 0.03);
        lower.Effect.ChangedAreaMm2.Should().Be(lower.Effect.Measures["removedAreaMm2"]);
        RepairMeshes.TriangleBytes(lower.Mesh).IsSubsetOf(RepairMeshes.TriangleBytes(s_sphere)).Should().BeTrue();
        lower.Findings.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.SelectionRemoved);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Corner_rules_are_ordered()
    {
        int Chosen(CornerRule rule) => new SphereSelection(new Vec3(0, 0, 10), 5, rule).Select(s_sphere, s_run).Count(c => c);

        Chosen(CornerRule.All).Should().BeLessThan(Chosen(CornerRule.Center));
        Chosen(CornerRule.Center).Should().BeLessThan(Chosen(CornerRule.Any));
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_turned_box_and_the_same_box_upright_choose_turned_triangles()
    {
        var turn = Affine3.Rotate(new Vec3(0, 0, 1), Math.PI / 6);
        var box = new Box3(new Vec3(-3, -20, -20), new Vec3(3, 20, 20));

        var turned = new BoxSelection(box, turn.Inverse()).Select(s_sphere.Moved(turn), s_run);
        var upright = new BoxSelection(box, Affine3.Identity).Select(s_sphere, s_run);

        turned.Zip(upright).Count(p => p.First != p.Second).Should().BeLessThan(5);
        upright.Count(c => c).Should().BeInRange(s_sphere.TriangleCount * 27 / 100, s_sphere.TriangleCount * 33 / 100, "a slab of 0.3 of the diameter has 0.3 of a sphere's area (Archimedes)");
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_lasso_takes_what_it_covers_in_the_view_through_the_whole_depth()
    {
        // Looking along -z from (0, 0, 40) with a field of view of 90 degrees: clip = (x, y, ., 40 - z), view = x / (40 - z).
        double[] view = [1, 0, 0, 0, 0, 1, 0, 0, 0, 0, -1, 30, 0, 0, -1, 40];
        (double, double)[] rightHalf = [(0, -1), (1, -1), (1, 1), (0, 1)];

        var chosen = new LassoSelection(rightHalf, view).Select(s_sphere, s_run);

        for (var t = 0; t < chosen.Length; t++)
        {
            var (a, b, c) = s_sphere.Triangle(t);
            var x = (s_sphere.Vertex(a) + s_sphere.Vertex(b) + s_sphere.Vertex(c)).X;
            if (Math.Abs(x) > 1e-9)
                chosen[t].Should().Be(x > 0);
        }

        double[] behind = [1, 0, 0, 0, 0, 1, 0, 0, 0, 0, -1, 30, 0, 0, 1, -40];
        new LassoSelection(rightHalf, behind).Select(s_sphere, s_run).Should().NotContain(true);
        FluentActions.Invoking(() => new LassoSelection(rightHalf, [1]).Select(s_sphere, s_run)).Should().Throw<ArgumentException>();
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_face_of_a_cube_is_grown_from_its_middle_and_all_of_it_by_a_wide_angle()
    {
        var cube = TestMeshes.Cube(2);

        new ConnectedSelection(new Vec3(1, 1, 2), 30).Select(cube, s_run).Count(c => c).Should().Be(2);
        new ConnectedSelection(new Vec3(1, 1, 2), 90).Select(cube, s_run).Count(c => c).Should().Be(12);
        new ConnectedSelection(new Vec3(0, 0, 10), 30, AgainstSeed: true).Select(s_sphere, s_run).Count(c => c)
            .Should().BeCloseTo((int)(s_sphere.TriangleCount * (1 - Math.Cos(Math.PI / 6)) / 2), 40, "a cap of 30 degrees");
        new ConnectedSelection(new Vec3(0, 0, 10), 30, ReachMm: 3).Select(s_sphere, s_run).Count(c => c).Should().BeInRange(50, 200);
        var twoPieces = TestMeshes.Join(cube, TestMeshes.Box(new Vec3(5, 0, 0), new Vec3(6, 1, 1)));
        new ConnectedSelection(new Vec3(1, 1, 2), 180).Select(twoPieces, s_run).Count(c => c).Should().Be(12);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Nothing_chosen_and_everything_chosen_leave_the_input()
    {
        var far = new SphereSelection(new Vec3(100, 0, 0), 1);

        RemoveSelection.Apply(s_sphere, new(far), s_run).Findings.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.NothingSelected);
        var all = RemoveSelection.Apply(s_sphere, new(far, KeepChosen: true), s_run);
        all.Mesh.Should().BeSameAs(s_sphere);
        all.Findings.Should().ContainSingle().Which.Should().Match<Finding>(f => f.Code == FindingCodes.NothingLeft && f.Severity == Severity.Stop);
        RemoveSelection.Apply(Mesh.Empty, new(new ConnectedSelection(Vec3.Zero, 10)), s_run).Mesh.Should().BeSameAs(Mesh.Empty);
    }
}
