using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Prepare;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Tests.Meshing.Shape;

namespace AnatomyPrep.Tests.Meshing.Prepare;

public sealed class SupportPillarsTests
{
    [Fact]
    public void Under_a_slab_on_a_post_they_stand_from_the_bed_to_the_slab_and_nowhere_else()
    {
        var pillars = SupportPillars.Of(SupportNeedTests.TShape(), 45, 1, RunContext.Default);
        // 1500 pixels of 1 mm under the slab, a pillar of 0.35 × 0.35 × 20 each; the grid of 41 pixels over 40 mm may miss or take one row at either rim.
        var count = pillars.TriangleCount / 12;
        count.Should().BeInRange(1500 - 82, 1500 + 82);
        MeshMeasures.SignedVolumeMm3(pillars).Should().BeApproximately(count * 0.35 * 0.35 * 20, 0.08, "closed boxes that face outward; corners of float32 at 40 mm leave 1e-5 of a side of 0.35 mm");
        (pillars.BoundsMm().Min.Z, pillars.BoundsMm().Max.Z).Should().Be((0, 20));
        MeshFacts.Measure(pillars, RunContext.Default).Watertight.Should().BeTrue();
    }

    [Fact]
    public void Where_nothing_overhangs_there_are_none()
    {
        SupportPillars.Of(SupportNeedTests.TShape(), 0, 1, RunContext.Default).TriangleCount.Should().Be(0, "in powder");
        SupportPillars.Of(Solids.Box(new(0, 0, 0), new(9, 9, 9)), 45, 1, RunContext.Default).TriangleCount.Should().Be(0);
    }
}
