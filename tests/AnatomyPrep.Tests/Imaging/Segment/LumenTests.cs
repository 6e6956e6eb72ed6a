using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Segment;
using AnatomyPrep.Meshing.Surface;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Phantoms.Catalogue;

namespace AnatomyPrep.Tests.Imaging.Segment;

public sealed class LumenTests
{
    private static readonly RunContext s_run = RunContext.Default;
    private static readonly Vec3 s_from = new(-14, -8, -30);
    private static readonly Vec3 s_to = new(12, 10, 30);

    [Theory]
    [InlineData(0)]
    [InlineData(15)]
    [Trait("Kind", "Truth")]
    public void The_radius_of_a_lumen_is_true_within_a_tenth_of_a_voxel(double noiseHu)
    {
        using var volume = PhantomCatalogue.Create("vessel", new PhantomOptions { NoiseSigmaHu = noiseHu }).ToVolume(s_run);
        var result = Lumen.Apply(volume, new([Vec3.Lerp(s_from, s_to, 0.4)], 70), s_run);
        using (result.Region)
        {
            // 400 HU of contrast in a wall of 70 HU: the middle is 235 HU, and lies on the nominal radius of 4 mm.
            result.Effect.Measures!["levelHu"].Should().BeApproximately(235, noiseHu == 0 ? 0 : 10);
            var mesh = FlyingEdges.Extract(volume, result.Region, s_run).Mesh;
            MeshFacts.Measure(mesh, s_run).Should().Match<MeshFacts>(f => f.Solid && f.Components == 1);
            var radii = Enumerable.Range(0, mesh.VertexCount).Select(v => DistanceToAxis(mesh.Vertex(v))).ToArray();
            radii.Average().Should().BeApproximately(4, 0.1 * 0.7);
            if (noiseHu == 0)
                radii.Should().OnlyContain(r => Math.Abs(r - 4) < 0.1 * 0.7);
        }
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Points_beside_the_contrast_are_named_with_what_lies_there()
    {
        using var volume = PhantomCatalogue.Create("vessel").ToVolume(s_run);
        var act = () => Lumen.Apply(volume, new([new Vec3(-25, -25, 0)], 50), s_run);
        act.Should().Throw<BadInputException>().WithMessage("*-90 HU*above surroundingHu*");
        var low = () => Lumen.Apply(volume, new([Vec3.Lerp(s_from, s_to, 0.5)], 50, 100), s_run);
        low.Should().Throw<BadInputException>().WithMessage("*upperHu*225 HU*");
    }

    private static double DistanceToAxis(Vec3 p)
    {
        var along = s_to - s_from;
        var t = Math.Clamp(Vec3.Dot(p - s_from, along) / along.LengthSquared, 0, 1);
        return Vec3.Distance(p, s_from + (along * t));
    }
}
