using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Repair;

namespace AnatomyPrep.Tests.Meshing.Repair;

public class RemoveDuplicatesTests
{
    private static readonly RunContext s_run = RunContext.Default;
    private static readonly Mesh s_sphere = TestMeshes.Icosphere(1, 10);

    [Fact]
    [Trait("Kind", "Truth")]
    public void Copies_the_same_way_round_go_and_the_first_stays()
    {
        var (a, b, c) = s_sphere.Triangle(7);

        var result = RemoveDuplicates.Apply(With(a, b, c, b, c, a), new(), s_run);

        RepairMeshes.Hash(result.Mesh).Should().Be(RepairMeshes.Hash(s_sphere));
        result.Effect.Measures!["duplicatesRemoved"].Should().Be(2);
        result.Findings.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.DuplicatesRemoved);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_turned_copy_goes_without_opening_the_surface()
    {
        var (a, b, c) = s_sphere.Triangle(7);

        RepairMeshes.Hash(RemoveDuplicates.Apply(With(a, c, b), new(), s_run).Mesh).Should().Be(RepairMeshes.Hash(s_sphere));

        // The turned copy comes first: it is the one that goes, for it runs along its neighbours' edges.
        var swapped = s_sphere.Triangles.ToArray();
        (swapped[22], swapped[23]) = (c, b);
        var mesh = new Mesh(Vec3.Zero, s_sphere.Positions.ToArray(), [.. swapped, a, b, c]);
        RepairMeshes.ShouldBeClosed(RemoveDuplicates.Apply(mesh, new(), s_run).Mesh);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_sheet_of_no_thickness_cancels()
    {
        var apart = RepairMeshes.FromPoints([new(20, 0, 0), new(21, 0, 0), new(20, 1, 0)], [(0, 1, 2), (0, 2, 1)]);

        var result = RemoveDuplicates.Apply(TestMeshes.Join(s_sphere, apart), new(), s_run);

        RepairMeshes.Hash(result.Mesh).Should().Be(RepairMeshes.Hash(s_sphere));
        result.Effect.Measures!["doubledSheetsCancelled"].Should().Be(1);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Isolated_vertices_go_and_the_rest_keeps_its_bytes()
    {
        var mesh = new Mesh(Vec3.Zero, [1, 2, 3, .. s_sphere.Positions, 4, 5, 6], [.. s_sphere.Triangles.ToArray().Select(v => v + 1)]);

        var result = RemoveIsolatedVertices.Apply(mesh, new(), s_run);

        RepairMeshes.Hash(result.Mesh).Should().Be(RepairMeshes.Hash(s_sphere));
        result.Effect.Measures!["isolatedVerticesRemoved"].Should().Be(2);
        RemoveDuplicates.Apply(mesh, new(), s_run).Mesh.Should().BeSameAs(mesh);
    }

    [Theory]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    [InlineData("head-scan-lps.obj", 2)]
    [InlineData("openscad-nonmanifold-crash.obj", 3)]
    public void Doubled_triangles_of_real_meshes_are_found(string name, int doubled)
    {
        // Counts of triangles over the same three welded vertices: PROVENANCE.md.
        var mesh = TestMeshes.Welded(TestMeshes.Shared(name));

        var result = RemoveDuplicates.Apply(mesh, new(), s_run);

        result.Effect.Measures!["duplicatesRemoved"].Should().BeInRange(doubled, 2 * doubled);
        EdgeTable.Build(result.Mesh).BoundaryEdges.Should().BeLessThanOrEqualTo(EdgeTable.Build(mesh).BoundaryEdges);
    }

    private static Mesh With(params int[] extra) => new(Vec3.Zero, s_sphere.Positions.ToArray(), [.. s_sphere.Triangles.ToArray(), .. extra]);
}
