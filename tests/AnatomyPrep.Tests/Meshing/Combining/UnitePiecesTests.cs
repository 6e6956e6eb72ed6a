using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Combining;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Tests.Meshing.Shape;

namespace AnatomyPrep.Tests.Meshing.Combining;

public sealed class UnitePiecesTests
{
    private static readonly RunContext s_run = RunContext.Default;

    /// <summary>Reference: manifold-3d 3.5.4 in another program, decompose then union (shared data, PROVENANCE.md).</summary>
    [Fact]
    [Trait("Needs", "Shared")]
    public void Overlapping_bones_of_a_skeleton_unite_to_the_reference_volume()
    {
        var bones = Solids.Read(SharedData.File("data/meshes/bones.off"));
        var united = UnitePieces.Apply(bones, s_run);
        var facts = MeshFacts.Measure(united.Mesh, s_run);
        facts.Solid.Should().BeTrue();
        facts.Components.Should().Be(9);
        // Both engines are the same; ours reads float32 and settles the cuts: six digits of the reference.
        facts.VolumeMm3.Should().BeApproximately(18.597713, 1e-6 * 18.6);
        facts.AreaMm2.Should().BeApproximately(104.460366, 1e-6 * 104.5);
        united.Effect.Measures!["piecesBefore"].Should().Be(26);
        united.Findings.Should().Contain(f => f.Code == FindingCodes.PiecesUnited);
    }

    [Fact]
    public void Three_boxes_in_a_row_become_one()
    {
        var row = Solids.Merged(
            Solids.Box(new(0, 0, 0), new(10, 10, 10)), Solids.Box(new(8, 1, 1), new(18, 9, 9)), Solids.Box(new(16, 2, 2), new(26, 8, 8)));
        var facts = MeshFacts.Measure(UnitePieces.Apply(row, s_run).Mesh, s_run);
        facts.Components.Should().Be(1);
        facts.VolumeMm3.Should().BeApproximately(1000 + (8 * 64) + (8 * 36), 1e-9);
    }

    [Fact]
    public void A_void_stays_where_no_other_piece_fills_it()
    {
        var hollow = Solids.Merged(Solids.Box(new(0, 0, 0), new(20, 20, 20)), Solids.InsideOut(Solids.Box(new(5, 5, 5), new(15, 15, 15))));
        var pin = Solids.Box(new(9, 9, -5), new(11, 11, 8));
        var facts = MeshFacts.Measure(UnitePieces.Apply(Solids.Merged(hollow, pin), s_run).Mesh, s_run);
        facts.Solid.Should().BeTrue();
        // The pin sticks out by 5 and fills 3 of the void, 2 by 2 across.
        facts.VolumeMm3.Should().BeApproximately(8000 - 1000 + (4 * 5) + (4 * 3), 1e-9);
        facts.Components.Should().Be(2);
    }

    [Fact]
    public void A_void_belongs_to_the_piece_it_does_not_cross_though_a_smaller_one_reaches_in()
    {
        // The void's top vertex lies in the small box too, which crosses the void.
        var hollow = Solids.Merged(Solids.Box(new(0, 0, 0), new(20, 20, 20)), Solids.InsideOut(Solids.Box(new(5, 5, 5), new(15, 15, 15))));
        var corner = Solids.Box(new(4, 4, 14), new(6, 6, 25));
        var facts = MeshFacts.Measure(UnitePieces.Apply(Solids.Merged(corner, hollow), s_run).Mesh, s_run);
        facts.Solid.Should().BeTrue();
        facts.VolumeMm3.Should().BeApproximately(8000 - 1000 + (4 * 5) + 1, 1e-9);
    }

    [Fact]
    public void A_piece_inside_another_disappears()
    {
        var mesh = Solids.Merged(Solids.Icosphere(3, 10), Solids.Icosphere(2, 4));
        var united = UnitePieces.Apply(mesh, s_run).Mesh;
        MeshFacts.Measure(united, s_run).Components.Should().Be(1);
        MeshMeasures.SignedVolumeMm3(united).Should().Be(MeshMeasures.SignedVolumeMm3(Solids.Icosphere(3, 10)));
    }

    [Fact]
    public void Pieces_that_do_not_meet_come_back_as_they_were()
    {
        var apart = Solids.Merged(Solids.Icosphere(2, 5), Solids.Icosphere(2, 5, new(20, 0, 0)));
        var result = UnitePieces.Apply(apart, s_run);
        result.Mesh.Should().BeSameAs(apart);
        result.Effect.ChangedAreaMm2.Should().Be(0);
    }

    [Fact]
    public void Uniting_twice_is_uniting_once()
    {
        var mesh = Solids.Merged(Solids.Icosphere(3, 10), Solids.Icosphere(3, 9, new(7, 2, 1)), Solids.Torus(12, 3, 30, 12));
        var once = UnitePieces.Apply(mesh, s_run).Mesh;
        UnitePieces.Apply(once, s_run).Mesh.Should().BeSameAs(once);
    }

    [Fact]
    public void Pieces_that_are_open_cross_themselves_or_face_inward_are_refused()
    {
        var ball = Solids.Icosphere(2, 10);
        Refused(Solids.Merged(ball, Solids.Sheet(2, 2, 5))).Should().Contain("open surface");
        Refused(Solids.Merged(ball, Solids.InsideOut(Solids.Icosphere(2, 5, new(30, 0, 0))))).Should().Contain("faces inward");
        // A tube so thick that it passes through itself.
        Refused(Solids.Merged(ball, Solids.Torus(5, 7, 20, 12))).Should().Contain("remove-crossings");

        static string Refused(Mesh mesh)
        {
            var act = () => UnitePieces.Apply(mesh, s_run);
            return act.Should().Throw<CheckFailedException>().Which.Message;
        }
    }

    [Fact]
    public void Same_bytes_on_any_number_of_threads()
    {
        var mesh = Solids.Merged(Solids.Icosphere(3, 10), Solids.Icosphere(3, 9, new(7, 2, 1)));
        var first = UnitePieces.Apply(mesh, new RunContext(threads: 1)).Mesh;
        foreach (var threads in (int[])[2, 3, 16])
            MeshAssert.SameBytes(UnitePieces.Apply(mesh, new RunContext(threads: threads)).Mesh, first).Should().BeTrue();
    }
}
