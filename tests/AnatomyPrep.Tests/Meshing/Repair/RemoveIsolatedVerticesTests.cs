using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Repair;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Repair;

public class RemoveIsolatedVerticesTests
{
    private static readonly RunContext s_run = RunContext.Default;

    [Fact]
    [Trait("Kind", "Property")]
    public void Only_loose_vertices_go_wherever_they_stand() =>
        Gen.Select(Gen.Int[0, 10_000], Gen.Int[0, 40]).Sample(
            (seed, loose) =>
            {
                var random = new Random(seed);
                var sphere = TestMeshes.Icosphere(2, 10);
                var mesh = sphere;
                for (var i = 0; i < loose; i++)
                    mesh = WithLoose(mesh, random.Next(mesh.VertexCount + 1));

                var result = RemoveIsolatedVertices.Apply(mesh, new(), s_run);

                RepairMeshes.Hash(result.Mesh).Should().Be(RepairMeshes.Hash(sphere));
                result.Effect.Measures!["isolatedVerticesRemoved"].Should().Be(loose);
                result.Effect.MaxDisplacementMm.Should().Be(0);
                ReferenceEquals(RemoveIsolatedVertices.Apply(result.Mesh, new(), s_run).Mesh, result.Mesh).Should().BeTrue();
            },
            iter: 50);

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Vertices_without_any_triangle_all_go()
    {
        var result = RemoveIsolatedVertices.Apply(new Mesh(Vec3.Zero, [0, 0, 0, 1, 1, 1], []), new(), s_run);
        result.Mesh.VertexCount.Should().Be(0);
        ReferenceEquals(RemoveIsolatedVertices.Apply(Mesh.Empty, new(), s_run).Mesh, Mesh.Empty).Should().BeTrue();
    }

    private static Mesh WithLoose(Mesh mesh, int at) => new(
        mesh.OriginMm,
        [.. mesh.Positions[..(3 * at)], 1, 2, 3, .. mesh.Positions[(3 * at)..]],
        [.. mesh.TriangleArray.Select(v => v < at ? v : v + 1)],
        mesh.OriginArray);
}
