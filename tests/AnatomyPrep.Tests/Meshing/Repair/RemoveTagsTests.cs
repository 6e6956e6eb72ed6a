using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Repair;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Repair;

public class RemoveTagsTests
{
    private static readonly RunContext s_run = RunContext.Default;

    [Fact]
    [Trait("Kind", "Truth")]
    public void Loose_triangles_go_whether_apart_or_hanging_by_a_vertex()
    {
        var sheet = RepairMeshes.Sheet(10, 10, 1);
        var mesh = new Mesh(Vec3.Zero, [.. sheet.Positions, 20, 0, 0, 21, 0, 0, 20, 1, 0], [.. sheet.Triangles, 121, 122, 123, 60, 121, 122]);

        var result = RemoveTags.Apply(mesh, new(), s_run);

        RepairMeshes.Hash(result.Mesh).Should().Be(RepairMeshes.Hash(sheet));
        result.Findings.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.TagsRemoved);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_peninsula_goes_and_an_isthmus_stays()
    {
        // Plates of 10 x 10 joined by a strip one wide; a strip one wide and ten long ends free.
        var mesh = RepairMeshes.Without(RepairMeshes.Sheet(40, 10, 1), p =>
            (p.X > 10 && p.X < 20 && !(p.Y > 4 && p.Y < 5)) || (p.X > 30 && !(p.Y > 4 && p.Y < 5)));

        var result = RemoveTags.Apply(mesh, new(), s_run);

        var bounds = RemoveIsolatedVertices.Apply(result.Mesh, new(), s_run).Mesh.BoundsMm();
        // Two rings at the root of the free strip stay; the isthmus from 10 to 20 is whole.
        bounds.Max.X.Should().BeInRange(30, 33);
        RepairMeshes.TriangleBytes(result.Mesh).IsSubsetOf(RepairMeshes.TriangleBytes(mesh)).Should().BeTrue();
        RepairMeshes.TriangleBytes(mesh, t => mesh.Vertex(mesh.Triangle(t).B).X <= 30).IsSubsetOf(RepairMeshes.TriangleBytes(result.Mesh)).Should().BeTrue();
        RemoveTags.Apply(result.Mesh, new(), s_run).Mesh.Should().BeSameAs(result.Mesh);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_spike_is_cut_off_and_its_place_filled()
    {
        var sphere = TestMeshes.Icosphere(4, 50);
        var positions = sphere.Positions.ToArray();
        // Vertex 700 pulled out to three times the radius.
        for (var axis = 0; axis < 3; axis++)
            positions[2100 + axis] *= 3;
        var spiked = new Mesh(Vec3.Zero, positions, sphere.Triangles.ToArray());

        var result = RemoveTags.Apply(spiked, new(), s_run);

        RepairMeshes.ShouldBeClosed(result.Mesh);
        result.Effect.Measures!["spikesRemoved"].Should().Be(1);
        result.Effect.Measures["highestSpikeMm"].Should().BeApproximately(100, 2);
        Enumerable.Range(0, result.Mesh.VertexCount).Max(v => Math.Abs(result.Mesh.Vertex(v).Length - 50)).Should().BeLessThan(0.1);
        var untouched = RepairMeshes.TriangleBytes(spiked, t => !new[] { spiked.Triangle(t).A, spiked.Triangle(t).B, spiked.Triangle(t).C }.Contains(700));
        untouched.IsSubsetOf(RepairMeshes.TriangleBytes(result.Mesh)).Should().BeTrue();
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Clean_sheets_and_bodies_come_back_as_they_are()
    {
        foreach (var mesh in (Mesh[])[RepairMeshes.Sheet(7, 9, 1), RepairMeshes.Tube(5, 20, 12, 10), TestMeshes.Cube(3), TestMeshes.Icosphere(1), Mesh.Empty])
            RemoveTags.Apply(mesh, new(), s_run).Mesh.Should().BeSameAs(mesh);
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Ragged_sheets_are_tidied_once_and_for_all() =>
        Gen.Int[0, 100_000].Sample(
            seed =>
            {
                var random = new Random(seed);
                var mesh = RepairMeshes.Without(RepairMeshes.Sheet(25, 25, 1), p => random.NextDouble() < 0.15);

                var once = RemoveTags.Apply(mesh, new(LooseTriangles: 20), s_run);

                once.Mesh.TriangleCount.Should().BeGreaterThan(0);
                RepairMeshes.TriangleBytes(once.Mesh).IsSubsetOf(RepairMeshes.TriangleBytes(mesh)).Should().BeTrue();
                RemoveTags.Apply(once.Mesh, new(LooseTriangles: 20), s_run).Mesh.TriangleCount.Should().Be(once.Mesh.TriangleCount);
            },
            iter: 20);

    [Theory]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    [InlineData("skull.obj")]
    [InlineData("femur.off")]
    public void Clean_real_meshes_come_back_as_they_are(string name)
    {
        var mesh = TestMeshes.Shared(name);

        RemoveTags.Apply(mesh, new(), s_run).Mesh.Should().BeSameAs(mesh);
        FixTopology.Apply(mesh, new(), s_run).Mesh.Should().BeSameAs(mesh);
        FillHoles.Apply(mesh, new(), s_run).Mesh.Should().BeSameAs(mesh);
    }
}
