using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Walls;
using AnatomyPrep.Tests.Meshing.Shape;

namespace AnatomyPrep.Tests.Meshing.Walls;

public sealed class ClearanceTests
{
    private static readonly RunContext s_run = new();

    /// <summary>Steiner's formula for a box: V + 2(ab + bc + ca)·d + π(a + b + c)·d² + 4/3·π·d³; eroded, (a − 2d)(b − 2d)(c − 2d).</summary>
    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(2)]
    [InlineData(0.3)]
    [InlineData(-2)]
    public void Grown_and_shrunk_boxes_have_the_volume_of_theory(double d)
    {
        const double a = 20, b = 14, c = 10;
        var box = TestMeshes.Box(new(5, 5, 5), new(5 + a, 5 + b, 5 + c));
        var grown = Clearance.Apply(box, new(d, 0.4), s_run);
        MakeShellTests.MustBeSolid(grown.Mesh);
        var expected = d > 0
            ? (a * b * c) + (2 * ((a * b) + (b * c) + (c * a)) * d) + (Math.PI * (a + b + c) * d * d) + (4.0 / 3 * Math.PI * d * d * d)
            : (a + (2 * d)) * (b + (2 * d)) * (c + (2 * d));
        grown.Effect.VolumeAfterMm3.Should().BeApproximately(expected, 0.005 * expected);
        grown.Effect.Measures!["distanceMedianMm"].Should().BeApproximately(Math.Abs(d), 1e-3);
        grown.Mesh.Origins.ToArray().Should().OnlyContain(o => o == Origin.Offset);
    }

    /// <summary>Balls 4 mm apart, grown by 3 mm each, are one body; shrunk by the same again they are two, each of its old radius.</summary>
    [Fact]
    [Trait("Kind", "Property")]
    public void Parts_that_come_near_melt_together()
    {
        var two = TestMeshes.Join(TestMeshes.Icosphere(4, 10), TestMeshes.Icosphere(4, 10, new Vec3(24, 0, 0)));
        var grown = Clearance.Apply(two, new(3, 0.5), s_run);
        MakeShellTests.MustBeSolid(grown.Mesh);
        grown.Effect.Measures!["pieces"].Should().Be(1);
        var back = Clearance.Apply(two, new(-3, 0.5), s_run);
        back.Effect.Measures!["pieces"].Should().Be(2);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void What_vanishes_is_refused()
    {
        var gone = () => Clearance.Apply(TestMeshes.Icosphere(3, 5), new(-5.5), s_run);
        gone.Should().Throw<CheckFailedException>().WithMessage("*thicker than 11 mm*");
        var none = () => Clearance.Apply(TestMeshes.Icosphere(3, 5), new(0), s_run);
        none.Should().Throw<PlanException>().Which.Parameter.Should().Be("distanceMm");
        var open = () => Clearance.Apply(TestMeshes.GridSheet(3, 3, 9, 9), new(1), s_run);
        open.Should().Throw<CheckFailedException>();
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Same_bytes_on_any_number_of_threads()
    {
        var torus = TestMeshes.Torus(30, 10, 40, 24);
        var expected = Clearance.Apply(torus, new(1.5, 0.6), new RunContext(threads: 1));
        foreach (var threads in new[] { 2, 3, 16 })
            MeshAssert.SameBytes(Clearance.Apply(torus, new(1.5, 0.6), new RunContext(threads: threads)).Mesh, expected.Mesh).Should().BeTrue();
    }
}
