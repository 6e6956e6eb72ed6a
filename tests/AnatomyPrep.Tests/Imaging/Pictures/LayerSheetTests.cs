using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Imaging.Pictures;
using AnatomyPrep.Tests.Meshing.Shape;
using OpenCvSharp;

namespace AnatomyPrep.Tests.Imaging.Pictures;

public sealed class LayerSheetTests
{
    // Material, as the sheet draws it: blue, green, red.
    private static readonly Vec3b s_material = new(110, 84, 70);

    /// <summary>
    /// A hollow box, 40 outside and 30 inside: the first and last layers are full, those through the void have 1600 − 900 mm². Scale (420 − 32)/40 = 9.7 pixels a mm;
    /// edges are rounded to whole pixels, half a pixel along each of up to 320 mm of outline: 320 · 9.7 · 0.5 pixels, 2.4 % of the ring.
    /// </summary>
    [Fact]
    public void Layers_are_the_sections_and_voids_stay_white()
    {
        using var folder = new TestFolder();
        var hollow = Solids.Merged(Solids.Box(new(-3, 7, 1), new(37, 47, 41)), Solids.InsideOut(Solids.Box(new(2, 12, 6), new(32, 42, 36))));
        LayerSheet.Write(hollow, folder["layers.png"], 0.2, RunContext.Default);
        using var sheet = Cv2.ImRead(folder["layers.png"]);
        for (var tile = 0; tile < 12; tile++)
        {
            var heightMm = LayerSheet.Of(tile, 200) * 0.2;
            var expected = heightMm is > 5.1 and < 35 ? 700 : 1600;
            (Count(sheet, tile) / (9.7 * 9.7)).Should().BeApproximately(expected, 0.03 * expected, "of layer {0}", LayerSheet.Of(tile, 200));
        }
    }

    [Fact]
    public void First_and_last_layer_are_shown_and_few_layers_repeat()
    {
        LayerSheet.Of(0, 888).Should().Be(1);
        LayerSheet.Of(11, 888).Should().Be(888);
        Enumerable.Range(0, 12).Select(i => LayerSheet.Of(i, 3)).Distinct().Should().Equal(1, 2, 3);
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Same_bytes_on_any_number_of_threads()
    {
        using var folder = new TestFolder();
        var ball = Solids.Icosphere(3, 10);
        LayerSheet.Write(ball, folder["a.png"], 0.1, new RunContext(threads: 1));
        foreach (var threads in (int[])[2, 3, 16])
        {
            LayerSheet.Write(ball, folder["b.png"], 0.1, new RunContext(threads: threads));
            File.ReadAllBytes(folder["b.png"]).Should().Equal(File.ReadAllBytes(folder["a.png"]));
        }
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Nothing_has_no_layers() => FluentActions.Invoking(() => LayerSheet.Write(Mesh.Empty, "none.png", 0.1, RunContext.Default)).Should().Throw<CheckFailedException>();

    private static int Count(Mat sheet, int tile)
    {
        var (left, top) = (tile % 4 * 420, 50 + (tile / 4 * 454));
        var count = 0;
        for (var y = top; y < top + 420; y++)
            for (var x = left; x < left + 420; x++)
                count += sheet.At<Vec3b>(y, x) == s_material ? 1 : 0;
        return count;
    }
}
