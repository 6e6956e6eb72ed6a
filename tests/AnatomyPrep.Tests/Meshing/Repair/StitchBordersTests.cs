using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Repair;

namespace AnatomyPrep.Tests.Meshing.Repair;

public class StitchBordersTests
{
    private static readonly RunContext s_run = RunContext.Default;

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_soup_of_triangles_becomes_the_body_it_was()
    {
        var sphere = TestMeshes.Icosphere(3, 10);

        var result = StitchBorders.Apply(sphere.Soup(), new(), s_run);

        RepairMeshes.ShouldBeClosed(result.Mesh);
        result.Mesh.VertexCount.Should().Be(sphere.VertexCount);
        RepairMeshes.TriangleBytes(result.Mesh).SetEquals(RepairMeshes.TriangleBytes(sphere)).Should().BeTrue();
        result.Effect.Measures!["borderVerticesJoined"].Should().Be((3 * sphere.TriangleCount) - sphere.VertexCount);
        result.Findings.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.BordersStitched);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Closed_bodies_that_touch_stay_apart_and_zero_is_zero_with_either_sign()
    {
        var touching = TestMeshes.Join(TestMeshes.Cube(1), TestMeshes.Box(new Vec3(1, 1, 0), new Vec3(2, 2, 1)));
        ReferenceEquals(StitchBorders.Apply(touching, new(), s_run).Mesh, touching).Should().BeTrue();

        var seam = new Mesh(Vec3.Zero, [0, 0, 0, 1, 0, 0, 1, 1, 0, -0f, 0, 0, 1, 1, -0f, 0, 1, 0], [0, 1, 2, 3, 4, 5]);
        StitchBorders.Apply(seam, new(), s_run).Mesh.VertexCount.Should().Be(4);
        ReferenceEquals(StitchBorders.Apply(Mesh.Empty, new(), s_run).Mesh, Mesh.Empty).Should().BeTrue();
    }

    /// <summary>Welded: 8839 vertices, one closed piece apart from four edges with more than two triangles (data/PROVENANCE.md).</summary>
    [Fact]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    public void The_seams_of_a_textured_scan_close()
    {
        var result = StitchBorders.Apply(TestMeshes.Shared("head-scan-lps.obj"), new(), s_run);

        // PROVENANCE.md: 8,839 places. Seams are joined along edges; where sheets only share a place their vertices stay apart.
        Enumerable.Range(0, result.Mesh.VertexCount).Select(result.Mesh.Local).Distinct().Should().HaveCount(8839);
        result.Mesh.VertexCount.Should().BeInRange(8839, 8839 + 9);
        EdgeTable.Build(result.Mesh).BoundaryEdges.Should().Be(0);
    }
}
