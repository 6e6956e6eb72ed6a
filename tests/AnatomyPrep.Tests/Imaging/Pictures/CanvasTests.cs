using System.Buffers.Binary;
using System.Text;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Imaging.Pictures;

namespace AnatomyPrep.Tests.Imaging.Pictures;

public sealed class CanvasTests
{
    [Fact]
    [Trait("Kind", "Same")]
    public void The_same_picture_is_the_same_file_with_nothing_in_it_but_the_picture()
    {
        byte[] first = Encoded(), second = Encoded();
        second.Should().Equal(first);
        Chunks(first).Distinct().Should().Equal("IHDR", "IDAT", "IEND");
    }

    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(0, 0)]
    [InlineData(128, 1)]
    [InlineData(255, 2)]
    public void Blending_takes_the_stated_share(int share, int which)
    {
        using var canvas = new Canvas(2, 2, new Rgb(100, 0, 255));
        canvas.Blend(1, 1, new Rgb(200, 255, 55), share);
        canvas[1, 1].Should().Be(new[] { new Rgb(100, 0, 255), new Rgb(150, 128, 155), new Rgb(200, 255, 55) }[which]);
        canvas[0, 0].Should().Be(new Rgb(100, 0, 255));
    }

    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(170, 100)]
    [InlineData(100, 100)]
    [InlineData(99.9, 50)]
    [InlineData(49, 20)]
    [InlineData(12, 10)]
    [InlineData(1, 1)]
    [InlineData(0.07, 0.05)]
    public void A_scale_bar_is_the_largest_round_length_that_fits(double room, double length) =>
        ScaleBar.LengthMm(room).Should().BeApproximately(length, 1e-12);

    [Fact]
    [Trait("Kind", "Truth")]
    public void Grey_windows_are_linear_between_black_and_white()
    {
        GreyWindow.Bone.Grey(-500).Should().Be(0);
        GreyWindow.Bone.Grey(1500).Should().Be(255);
        GreyWindow.Bone.Grey(500).Should().Be(128); // 127.5, ties to even
        GreyWindow.Bone.Grey(-3024).Should().Be(0);
        GreyWindow.Bone.Grey(30710).Should().Be(255);
        GreyWindow.Soft.Grey(40 + 100).Should().Be(191); // 127.5 + 63.75 = 191.25
    }

    private static byte[] Encoded()
    {
        using var canvas = new Canvas(300, 100, new Rgb(10, 20, 30));
        canvas.Text("Axial 12.5 mm", 10, 60, 20, new Rgb(255, 255, 255));
        return canvas.EncodePng();
    }

    private static IEnumerable<string> Chunks(byte[] png)
    {
        for (var at = 8; at < png.Length; at += 12 + BinaryPrimitives.ReadInt32BigEndian(png.AsSpan(at)))
            yield return Encoding.ASCII.GetString(png, at + 4, 4);
    }
}
