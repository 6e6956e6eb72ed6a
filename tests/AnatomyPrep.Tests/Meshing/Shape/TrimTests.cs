using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Tests.Meshing.Shape;

public sealed class TrimTests
{
    [Fact]
    public void A_box_loses_exactly_the_length_wherever_it_lies()
    {
        foreach (var shift in new[] { Vec3.Zero, new Vec3(120, -340, 815.5) })
        {
            var box = TestMeshes.Box(new(0, 0, 0), new(10, 20, 30)).Moved(Affine3.Translate(shift));
            var trimmed = Trim.Apply(box, new(new(0, 0, -2), 5), RunContext.Default);

            var facts = MeshFacts.Measure(trimmed.Mesh, RunContext.Default);
            facts.Solid.Should().BeTrue();
            // Positions are float32 about the mesh's own origin: half a unit in the last place of 30 mm, 1e-6 mm, on every side.
            facts.VolumeMm3.Should().BeApproximately(10 * 20 * 25, 1e-2);
            trimmed.Mesh.BoundsMm().Min.Z.Should().BeApproximately(shift.Z + 5, 1e-4);
            trimmed.Effect.VolumeBeforeMm3.Should().BeApproximately(6000, 1e-2);
            MeshMeasures.AreaByOriginMm2(trimmed.Mesh, RunContext.Default)[(int)Origin.Cut].Should().BeApproximately(200, 1e-2);
        }
    }

    [Theory]
    [InlineData(30)]
    [InlineData(31)]
    public void More_than_there_is_cannot_be_taken(double lengthMm) =>
        FluentActions.Invoking(() => Trim.Apply(TestMeshes.Box(new(0, 0, 0), new(10, 20, 30)), new(new(0, 0, 1), lengthMm), RunContext.Default))
            .Should().Throw<CheckFailedException>().WithMessage("*30 mm*");

    [Theory]
    [InlineData(0)]
    [InlineData(-1)]
    [InlineData(double.NaN)]
    [InlineData(double.PositiveInfinity)]
    public void Lengths_that_are_none_are_refused(double lengthMm) =>
        FluentActions.Invoking(() => Trim.Apply(TestMeshes.Cube(), new(new(0, 0, 1), lengthMm), RunContext.Default))
            .Should().Throw<PlanException>().WithMessage("*lengthMm*");
}
