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
    public void Removing_a_patch_and_keeping_it_alone_are_complements()
    {
        // The cap that lies within 60 degrees of the top: half of the upper half sphere's height, so a quarter of the area (Archimedes).
        var cap = new ConnectedSelection(new Vec3(0, 0, 10), 60, AgainstSeed: true);

        var rest = RemoveSelection.Apply(s_sphere, new(cap), s_run);
        var alone = RemoveSelection.Apply(s_sphere, new(cap, KeepChosen: true), s_run);

        (rest.Mesh.TriangleCount + alone.Mesh.TriangleCount).Should().Be(s_sphere.TriangleCount);
        // One row of triangles more or less: 4 degrees of edge on a rim at 60 degrees, 2 π 100 sin 60 · 0.07 / 2 = 19 mm².
        rest.Effect.Measures!["removedAreaMm2"].Should().BeApproximately(100 * Math.PI, 19);
        rest.Effect.ChangedAreaMm2.Should().Be(rest.Effect.Measures["removedAreaMm2"]);
        RepairMeshes.TriangleBytes(rest.Mesh).IsSubsetOf(RepairMeshes.TriangleBytes(s_sphere)).Should().BeTrue();
        rest.Findings.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.SelectionRemoved);
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
    public void Everything_chosen_leaves_the_input()
    {
        var all = RemoveSelection.Apply(s_sphere, new(new(Vec3.Zero, 180)), s_run);
        all.Mesh.Should().BeSameAs(s_sphere);
        all.Findings.Should().ContainSingle().Which.Should().Match<Finding>(f => f.Code == FindingCodes.NothingLeft && f.Severity == Severity.Stop);
        RemoveSelection.Apply(Mesh.Empty, new(new(Vec3.Zero, 10)), s_run).Mesh.Should().BeSameAs(Mesh.Empty);
    }
}
