using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Combining;
using AnatomyPrep.Meshing.Marking;
using AnatomyPrep.Meshing.Shape;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Tests.Meshing.Shape;

namespace AnatomyPrep.Tests.Meshing.Marking;

public sealed class MarkTextTests
{
    private static readonly RunContext s_run = RunContext.Default;

    private static readonly Mesh s_block = Solids.Box(new(0, 0, 0), new(60, 40, 30));

    [Theory]
    [InlineData(false)]
    [InlineData(true)]
    public void On_a_flat_face_the_volume_changes_by_the_letters_area_times_the_relief(bool sunk)
    {
        var result = MarkText.Apply(s_block, new("A-10", ReliefMm: 0.8, Sunk: sunk, PlaceMm: new Vec3(30, 0, 15)), s_run);
        MeshFacts.Measure(result.Mesh, s_run).Solid.Should().BeTrue();
        var faceArea = Letters(result.Mesh, new(0, -1, 0)).Sum(t => MeshMeasures.TriangleAreaMm2(result.Mesh, t));
        faceArea.Should().BeGreaterThan(20);
        // Corners of the letters are rounded to float32: 2⁻²⁵ of 60 mm over a side area below 200 mm².
        (result.Effect.VolumeAfterMm3 - result.Effect.VolumeBeforeMm3).Should().BeApproximately((sunk ? -0.8 : 0.8) * faceArea, 4e-4);
        result.Effect.Measures!["letters"].Should().Be(4);
        result.Findings.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.TextMarked);
    }

    [Theory]
    [InlineData(0, -1, 0)]
    [InlineData(0, 1, 0)]
    [InlineData(1, 0, 0)]
    [InlineData(-1, 0, 0)]
    [InlineData(0, 0, 1)]
    [InlineData(0, 0, -1)]
    public void Read_from_outside_the_text_is_never_mirrored(double x, double y, double z)
    {
        // F has its stem on the left and its bars in the upper half; L would pass for a turned one, F does not.
        var outward = new Vec3(x, y, z);
        var bounds = s_block.BoundsMm();
        var place = bounds.Center + new Vec3(x * bounds.Size.X, y * bounds.Size.Y, z * bounds.Size.Z);
        var marked = MarkText.Apply(s_block, new("F", HeightMm: 12, PlaceMm: place), s_run).Mesh;
        // The reader looks against the face; up is towards the head, on the head's own faces towards the patient's front.
        var up = z == 0 ? new Vec3(0, 0, 1) : new Vec3(0, -1, 0);
        var right = Vec3.Cross(-outward, up);
        var middle = new Box3(new Vec3(0, 0, 0), new Vec3(60, 40, 30)).Center;
        double left = 0, rightHalf = 0, upper = 0, lower = 0;
        foreach (var t in Letters(marked, outward))
        {
            var (a, b, c) = marked.Triangle(t);
            var at = ((marked.Vertex(a) + marked.Vertex(b) + marked.Vertex(c)) / 3) - middle;
            var area = MeshMeasures.TriangleAreaMm2(marked, t);
            (Vec3.Dot(at, right) < 0 ? ref left : ref rightHalf) += area;
            (Vec3.Dot(at, up) > 0 ? ref upper : ref lower) += area;
        }

        left.Should().BeGreaterThan(1.2 * rightHalf);
        upper.Should().BeGreaterThan(1.5 * lower);
    }

    [Fact]
    public void A_flat_place_is_found_by_itself()
    {
        var ball = Solids.Icosphere(4, 30);
        var flattened = Cut.Apply(ball, new(new(0, 22, 0), new(0, -1, 0)), s_run).Mesh;
        var result = MarkText.Apply(flattened, new("LEFT 2"), s_run);
        // Nothing on the rounded side is flat, so the place must be on the cut, and its letters stand over y = 22.
        result.Effect.Measures!["unevenMm"].Should().BeLessThan(1e-4);
        Letters(result.Mesh, new(0, 1, 0)).Should().NotBeEmpty();
        MeshFacts.Measure(result.Mesh, s_run).Solid.Should().BeTrue();
    }

    [Fact]
    public void On_a_round_surface_letters_stand_out_by_the_relief_at_least()
    {
        var column = SolidShapes.Frustum(Vec3.Zero, new(0, 0, -30), new(0, 0, 30), 25, 25, 96, Origin.Measured);
        var result = MarkText.Apply(column, new("R 5/8", HeightMm: 5, ReliefMm: 0.6, PlaceMm: new Vec3(0, -25, 0), MaxUnevenMm: 3), s_run);
        MeshFacts.Measure(result.Mesh, s_run).Solid.Should().BeTrue();
        var tops = Letters(result.Mesh, new(0, -1, 0)).SelectMany(t => (int[])[.. result.Mesh.Triangles.Slice(3 * t, 3)]).Distinct().ToList();
        tops.Should().NotBeEmpty();
        foreach (var v in tops)
            MeshAssert.Distance(result.Mesh.Vertex(v), column).Should().BeGreaterThanOrEqualTo(0.6 - 0.01);
        result.Effect.Measures!["unevenMm"].Should().BeInRange(0.5, 3);
    }

    [Fact]
    public void Sunk_letters_do_not_break_through_a_thin_wall()
    {
        var hollow = Solids.Merged(s_block, Solids.InsideOut(Solids.Box(new(2, 2, 2), new(58, 38, 28))));
        var sink = () => MarkText.Apply(hollow, new("AB", ReliefMm: 1.5, Sunk: true, PlaceMm: new Vec3(30, 0, 15)), s_run);
        sink.Should().Throw<CheckFailedException>().Which.Message.Should().Contain("wall").And.Contain("2.00");
        var raised = MarkText.Apply(hollow, new("AB", PlaceMm: new Vec3(30, 0, 15)), s_run);
        MeshFacts.Measure(raised.Mesh, s_run).Components.Should().Be(2);
    }

    [Fact]
    public void Inner_walls_and_hidden_places_are_not_chosen()
    {
        // The flattest faces are those of the void and of the slot; the outer side is round.
        var column = SolidShapes.Frustum(Vec3.Zero, new(0, 0, -30), new(0, 0, 30), 25, 25, 96, Origin.Measured);
        var hollow = Solids.Merged(column, Solids.InsideOut(Solids.Box(new(-12, -12, -20), new(12, 12, 20))));
        var result = MarkText.Apply(hollow, new("X1", HeightMm: 4), s_run);
        foreach (var t in Letters(result.Mesh))
        {
            var at = result.Mesh.Vertex(result.Mesh.Triangle(t).A);
            (Math.Sqrt((at.X * at.X) + (at.Y * at.Y)) > 20 || Math.Abs(at.Z) > 29).Should().BeTrue();
        }
    }

    [Fact]
    public void What_cannot_be_done_is_refused_with_the_reason()
    {
        Check(s_block, new("THIS LINE IS TOO LONG FOR THE BLOCK", PlaceMm: new Vec3(30, 0, 15))).Should().Contain("smaller");
        Check(Solids.Icosphere(3, 10), new("LONG TEXT")).Should().Contain("smaller");
        Check(Solids.Sheet(3, 3, 1), new("A")).Should().Contain("open surface");
        foreach (var (parameters, name) in (IEnumerable<(MarkTextParameters, string)>)[
            (new(""), "text"), (new("   "), "text"), (new("A_B"), "text"), (new("Ä"), "text"), (new(new string('A', 61)), "text"),
            (new("A", HeightMm: 0), "heightMm"), (new("A", ReliefMm: double.NaN), "reliefMm"), (new("A", StrokeMm: 3), "strokeMm"), (new("A", PlaceMm: new Vec3(double.NaN, 0, 0)), "placeMm")])
        {
            var act = () => MarkText.Apply(s_block, parameters, s_run);
            act.Should().Throw<PlanException>().Which.Parameter.Should().Be(name);
        }

        static string Check(Mesh mesh, MarkTextParameters parameters)
        {
            var act = () => MarkText.Apply(mesh, parameters, s_run);
            return act.Should().Throw<CheckFailedException>().Which.Message;
        }
    }

    [Fact]
    public void Small_letters_are_capitals()
    {
        var place = new Vec3(30, 0, 15);
        MeshAssert.SameBytes(MarkText.Apply(s_block, new("left", PlaceMm: place), s_run).Mesh, MarkText.Apply(s_block, new("LEFT", PlaceMm: place), s_run).Mesh).Should().BeTrue();
    }

    [Fact]
    public void Same_bytes_on_any_number_of_threads()
    {
        var first = MarkText.Apply(s_block, new("AP-7"), new RunContext(threads: 1)).Mesh;
        foreach (var threads in (int[])[2, 3, 16])
            MeshAssert.SameBytes(MarkText.Apply(s_block, new("AP-7"), new RunContext(threads: threads)).Mesh, first).Should().BeTrue();
    }

    private static IEnumerable<int> Letters(Mesh mesh, Vec3? facing = null) => Enumerable.Range(0, mesh.TriangleCount).Where(t =>
    {
        var (a, b, c) = mesh.Triangle(t);
        var normal = Vec3.Cross(mesh.Local(b) - mesh.Local(a), mesh.Local(c) - mesh.Local(a)).Normalized();
        return mesh.Origins[t] == Origin.Added && (facing is null || Vec3.Dot(normal, facing.Value) > 0.999);
    });
}
