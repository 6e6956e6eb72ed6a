using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Repair;

namespace AnatomyPrep.Tests.Meshing.Repair;

public class FillStretchTests
{
    private static readonly RunContext s_run = RunContext.Default;

    /// <summary>A bay of 6 x 4 in the upper side of a sheet: closed by a straight border from (7, 10) to (13, 10), its area is 24 mm2.</summary>
    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(FillMethod.Smooth)]
    [InlineData(FillMethod.Flat)]
    public void A_bay_in_a_border_is_filled_straight_and_the_rest_stays_open(FillMethod method)
    {
        var sheet = Bay();

        var result = FillStretch.Apply(sheet, new(new Vec3(7, 10, 0), new Vec3(13, 10, 0), Method: method), s_run);

        result.Effect.Measures!["filledAreaMm2"].Should().BeApproximately(24, 1e-4);
        MeshMeasures.AreaMm2(result.Mesh).Should().BeApproximately(200, 1e-3);
        BoundaryLoops.Find(result.Mesh).Should().ContainSingle().Which.LengthMm.Should().BeApproximately(60, 1e-3);
        result.Mesh.Triangles[..sheet.Triangles.Length].SequenceEqual(sheet.Triangles).Should().BeTrue();
        result.Mesh.Origins[sheet.TriangleCount..].ToArray().Should().OnlyContain(o => o == Origin.Filled);
        result.Findings.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.HolesFilled);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void The_other_way_round_takes_the_rest_of_the_rim()
    {
        // A hole of 6 x 6 in a sheet, from corner to corner: either way is half of the rim, a triangle of 18 mm2.
        var sheet = RepairMeshes.Without(RepairMeshes.Sheet(20, 20, 1), p => Math.Abs(p.X - 10) < 3 && Math.Abs(p.Y - 10) < 3);
        Mesh Filled(bool longer) => FillStretch.Apply(sheet, new(new Vec3(7, 7, 0), new Vec3(13, 13, 0), longer, FillMethod.Flat), s_run).Mesh;

        foreach (var longer in (bool[])[false, true])
            MeshMeasures.AreaMm2(Filled(longer)).Should().BeApproximately(400 - 18, 1e-3);
        RepairMeshes.Hash(Filled(true)).Should().NotBe(RepairMeshes.Hash(Filled(false)));
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_single_edge_a_closed_body_and_no_mesh_at_all_come_back_with_a_stop()
    {
        void ShouldStop(Mesh mesh, Vec3 from, Vec3 to)
        {
            var result = FillStretch.Apply(mesh, new(from, to), s_run);
            ReferenceEquals(result.Mesh, mesh).Should().BeTrue();
            result.Findings.Should().ContainSingle().Which.Should().Match<Finding>(f => f.Code == FindingCodes.HoleNotFilled && f.Severity == Severity.Stop);
        }

        ShouldStop(Bay(), new Vec3(0, 0, 0), new Vec3(1, 0, 0));
        ShouldStop(TestMeshes.Cube(), new Vec3(0, 0, 0), new Vec3(1, 0, 0));
        ShouldStop(Mesh.Empty, new Vec3(0, 0, 0), new Vec3(1, 0, 0));
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Bytes_are_the_same_on_any_number_of_threads()
    {
        var hashes = ((int[])[1, 2, 3, 16]).Select(n =>
            RepairMeshes.Hash(FillStretch.Apply(Bay(), new(new Vec3(7, 10, 0), new Vec3(13, 10, 0)), RepairMeshes.Threads(n)).Mesh));
        hashes.Distinct().Should().ContainSingle();
    }

    private static Mesh Bay() => RepairMeshes.Without(RepairMeshes.Sheet(20, 10, 1), p => Math.Abs(p.X - 10) < 3 && p.Y > 6);
}
