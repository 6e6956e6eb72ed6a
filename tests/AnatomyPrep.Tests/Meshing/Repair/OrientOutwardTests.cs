using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Repair;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Tests.Meshing.Repair;

public class OrientOutwardTests
{
    private static readonly RunContext s_run = RunContext.Default;

    /// <summary>Body, cavity in it, body in the cavity: signs +, −, +; turned all together they come back so. With the cavity facing like the body all three enclose material, so that winding numbers inside are 1, 2, 3, and the two inner ones are hidden.</summary>
    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(false, false, false, 3)]
    [InlineData(true, true, true, 3)]
    [InlineData(false, true, false, 1)]
    [InlineData(true, false, true, 1)]
    public void Nested_bodies_face_away_from_their_material(bool turnBody, bool turnCavity, bool turnInner, int pieces)
    {
        var mesh = TestMeshes.Join(
            Turned(TestMeshes.Icosphere(3, 20), turnBody),
            Turned(TestMeshes.Icosphere(3, 12).Turned(), turnCavity),
            Turned(TestMeshes.Icosphere(3, 6), turnInner));

        var result = OrientOutward.Apply(mesh, new(), s_run);

        var facts = MeshFacts.Measure(result.Mesh, s_run);
        facts.OutwardOrientation.Should().BeTrue();
        facts.Components.Should().Be(pieces);
        if (!turnBody && !turnCavity && !turnInner)
            ReferenceEquals(result.Mesh, mesh).Should().BeTrue();
        result.Effect.Measures!["hiddenPiecesDropped"].Should().Be(3 - pieces);
        result.Findings.Any(f => f.Code == FindingCodes.HiddenPiecesDropped && f.Severity == Severity.Caution).Should().Be(pieces < 3);
        var again = OrientOutward.Apply(result.Mesh, new(), s_run).Mesh;
        if (pieces == 3)
            ReferenceEquals(again, result.Mesh).Should().BeTrue();
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Hidden_pieces_stay_when_asked_and_flat_sheets_have_no_side_to_face()
    {
        var hidden = TestMeshes.Join(TestMeshes.Icosphere(3, 20), TestMeshes.Icosphere(2, 5));
        ReferenceEquals(OrientOutward.Apply(hidden, new(DropHidden: false), s_run).Mesh, hidden).Should().BeTrue();

        var sheet = RepairMeshes.Sheet(5, 5, 1);
        ReferenceEquals(OrientOutward.Apply(sheet, new(), s_run).Mesh, sheet).Should().BeTrue();
        ReferenceEquals(OrientOutward.Apply(Mesh.Empty, new(), s_run).Mesh, Mesh.Empty).Should().BeTrue();
    }

    /// <summary>PROVENANCE.md: head.off is inside out, all triangles turned.</summary>
    [Fact]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    public void A_head_that_is_inside_out_is_turned()
    {
        var mesh = TestMeshes.Shared("head.off");
        var result = OrientOutward.Apply(mesh, new(), s_run);
        RepairMeshes.TriangleBytes(result.Mesh).SetEquals(RepairMeshes.TriangleBytes(mesh.Turned())).Should().BeTrue();
        result.Findings.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.PiecesTurned);
    }

    private static Mesh Turned(Mesh mesh, bool turn) => turn ? mesh.Turned() : mesh;
}
