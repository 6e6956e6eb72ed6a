using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Marking;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Tests.Meshing.Shape;

namespace AnatomyPrep.Tests.Meshing.Marking;

public sealed class BasePlateTests
{
    private static readonly RunContext s_run = RunContext.Default;

    [Fact]
    public void The_plate_adds_its_volume_less_what_the_model_fills()
    {
        var box = Solids.Box(new(0, 0, 0), new(20, 10, 30));
        var result = BasePlate.Apply(box, new(ThicknessMm: 3, MarginMm: 2, SinkMm: 1), s_run);
        var facts = MeshFacts.Measure(result.Mesh, s_run);
        facts.Solid.Should().BeTrue();
        facts.Components.Should().Be(1);
        facts.VolumeMm3.Should().BeApproximately(6000 + (24 * 14 * 3) - (20 * 10), 1e-9);
        facts.BoundsMm![0].Should().Equal(-2, -2, -2);
        result.Effect.Measures!["contactAreaMm2"].Should().BeApproximately(200, 1e-9);
        MeshMeasures.AreaByOriginMm2(result.Mesh)[(int)Origin.Added].Should().BeApproximately((2 * 24 * 14) - 200 + (2 * (24 + 14) * 3), 1e-9);
    }

    [Theory]
    [InlineData(PlateOutline.Rectangle)]
    [InlineData(PlateOutline.Circle)]
    public void In_any_direction_the_model_stands_on_a_flat_foot(PlateOutline outline)
    {
        var ball = Solids.Icosphere(3, 15, new(50, -20, 8));
        var down = new Vec3(0.3, -0.5, -0.8).Normalized();
        var result = BasePlate.Apply(ball, new(down, Outline: outline), s_run);
        var facts = MeshFacts.Measure(result.Mesh, s_run);
        facts.Solid.Should().BeTrue();
        facts.Components.Should().Be(1);
        // All of the foot's outer face lies in one plane, 3 − 1 mm below the ball's lowest vertex; two steps of float32 at 70 mm.
        var low = Enumerable.Range(0, ball.VertexCount).Max(v => Vec3.Dot(ball.Vertex(v), down));
        var flat = Enumerable.Range(0, result.Mesh.VertexCount).Select(v => Vec3.Dot(result.Mesh.Vertex(v), down)).Where(d => d > low + 1).ToList();
        flat.Count.Should().BeGreaterThanOrEqualTo(outline == PlateOutline.Circle ? 16 : 4);
        flat.Should().OnlyContain(d => Math.Abs(d - (low + 2)) < 2e-5);
    }

    [Fact]
    public void What_cannot_be_done_is_refused_with_the_reason()
    {
        var act = () => BasePlate.Apply(Solids.Sheet(3, 3, 1), new(), s_run);
        act.Should().Throw<CheckFailedException>().Which.Message.Should().Contain("open surface");
        foreach (var (parameters, name) in (IEnumerable<(BasePlateParameters, string)>)[
            (new(ThicknessMm: 0), "thicknessMm"), (new(SinkMm: -1), "sinkMm"), (new(MarginMm: double.NaN), "marginMm"), (new(Down: Vec3.Zero), "down")])
        {
            act = () => BasePlate.Apply(Solids.Icosphere(2, 5), parameters, s_run);
            act.Should().Throw<PlanException>().Which.Parameter.Should().Be(name);
        }
    }

    [Fact]
    public void Same_bytes_on_any_number_of_threads()
    {
        var ball = Solids.Icosphere(3, 15);
        var first = BasePlate.Apply(ball, new(), new RunContext(threads: 1)).Mesh;
        foreach (var threads in (int[])[2, 3, 16])
            MeshAssert.SameBytes(BasePlate.Apply(ball, new(), new RunContext(threads: threads)).Mesh, first).Should().BeTrue();
    }
}
