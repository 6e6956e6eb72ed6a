using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Imaging.Pictures;

namespace AnatomyPrep.Tests.Imaging.Pictures;

public sealed class ObscuranceTests
{
    [Fact]
    [Trait("Kind", "Truth")]
    public void A_plane_is_open_and_the_floor_beside_a_wall_is_darker_the_nearer_it_is()
    {
        // Seen from the front: a floor at y = 0 and a block that stands 20 mm out of it at x > 0.
        var floor = PictureSamples.Box(new Vec3(-50, 0, -50), new Vec3(50, 1, 50));
        var block = PictureSamples.Box(new Vec3(0, -20, -50), new Vec3(50, 0, 50));
        var open = Draw(PictureSamples.Joined(floor, block));
        float near = open[(100 * 200) + 95], further = open[(100 * 200) + 80], away = open[(100 * 200) + 20], top = open[(100 * 200) + 150];
        away.Should().Be(1, "more than the reach of 20 mm away nothing stands in the way");
        top.Should().Be(1, "the top of the block looks out freely");
        near.Should().BeLessThan(further);
        further.Should().BeLessThan(1);
        open.Where(o => o != 0).Should().OnlyContain(o => o >= 0 && o <= 1);
    }

    private static float[] Draw(Mesh mesh)
    {
        var raster = DepthRaster.Draw(mesh, new ViewFrame(ViewDirection.Front, Vec3.Zero, 2, 200, 200), RunContext.Default);
        var normals = new float[3 * 200 * 200];
        for (var pixel = 0; pixel < 200 * 200; pixel++)
            normals[(3 * pixel) + 2] = 1; // all that is seen faces the viewer
        return Obscurance.Of(raster, normals, 20, RunContext.Default);
    }
}
