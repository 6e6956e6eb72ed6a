using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Tests.Meshing;

namespace AnatomyPrep.Tests.Core.Meshes;

public sealed class MeshJoinTests
{
    [Fact]
    public void Meshes_stand_side_by_side_unchanged()
    {
        Mesh a = TestMeshes.Cube(2), b = new(default, [0, 0, 9, 1, 0, 9, 0, 1, 9], [0, 1, 2], [Origin.Cut]);
        var joined = MeshJoin.Join([a, b]);
        (joined.VertexCount, joined.TriangleCount).Should().Be((11, 13));
        joined.Positions[..24].ToArray().Should().Equal(a.PositionArray);
        joined.Triangle(12).Should().Be((8, 9, 10));
        joined.Origins[12].Should().Be(Origin.Cut);
        MeshMeasures.SignedVolumeMm3(MeshJoin.Join([a, TestMeshes.Box(new(5, 0, 0), new(6, 1, 1))])).Should().BeApproximately(9, 1e-9);
    }

    [Fact]
    public void Nothing_joins_to_nothing_and_two_origins_are_refused()
    {
        MeshJoin.Join([]).TriangleCount.Should().Be(0);
        FluentActions.Invoking(() => MeshJoin.Join([TestMeshes.Cube(), TestMeshes.Cube().Rebased(new(1, 0, 0))])).Should().Throw<ArgumentException>();
    }
}
