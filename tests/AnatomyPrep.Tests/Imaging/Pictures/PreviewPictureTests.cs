using System.Security.Cryptography;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Imaging.Pictures;

namespace AnatomyPrep.Tests.Imaging.Pictures;

public sealed class PreviewPictureTests
{
    private const double Radius = 20;
    private static readonly Vec3 s_center = new(-30, 12, 900);
    private static readonly Rgb s_paper = new(247, 248, 250);
    private static readonly Rgb s_ink = new(30, 36, 44);

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_marker_on_the_left_is_on_the_viewers_right_from_the_front_and_hides_or_shows_by_depth()
    {
        var mesh = PictureSamples.Joined(
            PictureSamples.Sphere(s_center, Radius, 40),
            PictureSamples.Box(s_center + new Vec3(19, -2, -2), s_center + new Vec3(24, 2, 2), Origin.Filled));
        var options = new PreviewOptions { Views = [ViewDirection.Front, ViewDirection.Back, ViewDirection.LeftSide, ViewDirection.RightSide, ViewDirection.Above, ViewDirection.Below] };
        using var sheet = PreviewPicture.Draw(mesh, options, RunContext.Default);

        Marker(sheet, 0).Should().BeGreaterThan(0.9, "left is on the viewer's right from the front");
        Marker(sheet, 1).Should().BeLessThan(0.1, "and on the viewer's left from behind");
        Marker(sheet, 2).Should().BeApproximately(0.5, 0.01, "it points at the viewer from the left side");
        Marker(sheet, 3).Should().Be(-1, "the head hides it from the right side");
        Marker(sheet, 4).Should().BeLessThan(0.1, "from above, front on top, left is on the left");
        Marker(sheet, 5).Should().BeGreaterThan(0.9);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Letters_stand_on_their_sides()
    {
        using var sheet = PreviewPicture.Draw(
            PictureSamples.Sphere(s_center, Radius, 20), new PreviewOptions { Views = [ViewDirection.Front, ViewDirection.LeftSide, ViewDirection.Oblique], WidthPixels = 1000, HeightPixels = 200 }, RunContext.Default);
        foreach (var (n, left, right) in new[] { (0, "R", "L"), (1, "A", "P") })
        {
            var panel = sheet.Panels[n];
            Ink.In(sheet.Canvas, panel.Left - 40, panel.Top, 40, panel.Height).Should().Be(Ink.Of(left, 22, s_ink, s_paper));
            Ink.In(sheet.Canvas, panel.Left + panel.Width, panel.Top, 40, panel.Height).Should().Be(Ink.Of(right, 22, s_ink, s_paper));
            Ink.In(sheet.Canvas, panel.Left, panel.Top - 34, panel.Width, 34).Should().Be(Ink.Of("H", 22, s_ink, s_paper));
            Ink.In(sheet.Canvas, panel.Left, panel.Top + panel.Height, panel.Width, 36).Should().Be(Ink.Of("F", 22, s_ink, s_paper));
        }

        var oblique = sheet.Panels[2];
        Ink.In(sheet.Canvas, oblique.Left - 40, oblique.Top, 40, oblique.Height).Should().BeEmpty("no single letter fits an oblique view");
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Size_scale_bar_and_warning_are_written()
    {
        using var sheet = PreviewPicture.Draw(PictureSamples.Sphere(s_center, Radius, 20), PreviewOptions.Default, RunContext.Default);
        var canvas = sheet.Canvas;
        Ink.In(canvas, 0, 0, canvas.Width, 47).Should().Be(Ink.Of("Size 40.0 x 40.0 x 40.0 mm", 20, s_ink, s_paper));
        Ink.In(canvas, 0, canvas.Height - 34, canvas.Width / 2, 34).Should().Be(Ink.Of("For education and planning only", 13, new Rgb(160, 72, 0), s_paper));

        // A third of the sheet for 40 mm, a fifth of it for the bar: 20 mm.
        var row = canvas.Height - (3 * 34) + 20;
        var ink = Enumerable.Range(0, canvas.Width / 2).Where(x => canvas[x, row - 5] == s_ink && canvas[x, row + 5] == s_ink).ToList();
        ((double)(ink.Max() + 1 - ink.Min())).Should().BeApproximately(20 * sheet.PixelsPerMm, 0.5);
        Ink.In(canvas, ink.Max() + 2, row - 12, 120, 24).Should().Be(Ink.Of("20 mm", 13, s_ink, s_paper));
    }

    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(10, 100, 40)]
    [InlineData(0.1, 900, 0.1)]
    [InlineData(1, 1, 300)]
    [InlineData(900, 1, 1)]
    public void Views_and_captions_do_not_overlap_and_share_one_scale(double x, double y, double z)
    {
        var mesh = PictureSamples.Box(s_center, s_center + new Vec3(x, y, z));
        var options = new PreviewOptions { Views = [ViewDirection.Front, ViewDirection.Back, ViewDirection.LeftSide, ViewDirection.Oblique] };
        using var sheet = PreviewPicture.Draw(mesh, options, RunContext.Default);
        int right = 0, captionRight = 0;
        foreach (var panel in sheet.Panels)
        {
            panel.Left.Should().BeGreaterThanOrEqualTo(right + 80, "two letters stand between neighbours, one before the first");
            right = panel.Left + panel.Width;
            panel.Frame.PixelsPerMm.Should().Be(2 * sheet.PixelsPerMm);
            var half = Canvas.TextWidth($"Seen {panel.Frame.View.Description}", 13) / 2;
            var middle = panel.Left + (panel.Width / 2);
            (middle - half).Should().BeGreaterThan(captionRight);
            captionRight = middle + half;
        }

        right.Should().BeLessThanOrEqualTo(sheet.Canvas.Width - 80);
        captionRight.Should().BeLessThan(sheet.Canvas.Width);
        // Float positions about the middle: a pixel more at most.
        ((double)sheet.Panels[0].Width).Should().BeInRange(x * sheet.PixelsPerMm, (x * sheet.PixelsPerMm) + 2);
        ((double)sheet.Panels[2].Width).Should().BeInRange(y * sheet.PixelsPerMm, (y * sheet.PixelsPerMm) + 2);
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Any_number_of_threads_writes_the_same_file()
    {
        var mesh = PictureSamples.Sphere(s_center, Radius, 110, p => p.Z > s_center.Z ? Origin.Cut : Origin.Measured);
        var hashes = new HashSet<string>();
        using var folder = new TestFolder();
        foreach (var threads in new[] { 1, 2, 3, 16 })
        {
            PreviewPicture.Write(mesh, folder["preview.png"], new PreviewOptions { WidthPixels = 1000, HeightPixels = 300 }, new RunContext(threads: threads));
            hashes.Add(Convert.ToHexString(SHA256.HashData(File.ReadAllBytes(folder["preview.png"]))));
        }

        hashes.Should().ContainSingle();
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Origins_have_their_colours_and_the_inner_side_of_an_open_surface_is_darker()
    {
        // A square that faces the viewer, and one that shows its back.
        var mesh = new Mesh(
            Vec3.Zero,
            [0, 0, 0, 10, 0, 0, 10, 0, 10, 0, 0, 10, 20, 0, 0, 30, 0, 0, 30, 0, 10, 20, 0, 10],
            [0, 1, 2, 0, 2, 3, 4, 6, 5, 4, 7, 6],
            [Origin.Added, Origin.Added, Origin.Added, Origin.Added]);
        using var sheet = PreviewPicture.Draw(mesh, new PreviewOptions { Views = [ViewDirection.Front], HeightPixels = 200 }, RunContext.Default);
        var panel = sheet.Panels[0];
        var outside = sheet.Canvas[panel.Left + (panel.Width / 6), panel.Top + (panel.Height / 2)];
        var inside = sheet.Canvas[panel.Left + (panel.Width * 5 / 6), panel.Top + (panel.Height / 2)];
        var added = OriginPalette.Surface(Origin.Added);
        (outside.Red / (double)outside.Green).Should().BeApproximately(added.Red / (double)added.Green, 0.02, "light changes brightness, not colour");
        ((int)inside.Green).Should().BeLessThan((int)(outside.Green * 0.75));
    }

    [Theory]
    [Trait("Kind", "Hostile")]
    [InlineData(1000, 1, 1)]
    [InlineData(1, 1, 1000)]
    [InlineData(0.001, 0.001, 0.001)]
    public void Long_thin_and_tiny_models_get_a_picture(double x, double y, double z)
    {
        using var folder = new TestFolder();
        PreviewPicture.Write(PictureSamples.Box(s_center, s_center + new Vec3(x, y, z)), folder["p.png"], PreviewOptions.Default, RunContext.Default);
        new FileInfo(folder["p.png"]).Length.Should().BeGreaterThan(1000);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_model_without_triangles_or_with_broken_positions_is_refused_and_nothing_is_written()
    {
        using var folder = new TestFolder();
        foreach (var mesh in new[] { Mesh.Empty, new Mesh(Vec3.Zero, [0, 0, 0, 1, float.NaN, 0, 0, 1, 1], [0, 1, 2]) })
        {
            var act = () => PreviewPicture.Write(mesh, folder["p.png"], PreviewOptions.Default, RunContext.Default);
            act.Should().Throw<CheckFailedException>();
        }

        // One point three times, and a triangle seen from its edge only: nothing to see, but a sheet all the same.
        PreviewPicture.Write(new Mesh(s_center, [0, 0, 0], [0, 0, 0]), folder["point.png"], PreviewOptions.Default, RunContext.Default);
        PreviewPicture.Write(new Mesh(s_center, [0, 0, 0, 0, 0, 9, 0, 5, 0], [0, 1, 2]), folder["edge.png"], new PreviewOptions { Views = [ViewDirection.Front] }, RunContext.Default);
        File.Exists(folder["p.png"]).Should().BeFalse();
        File.Exists(folder["edge.png"]).Should().BeTrue();
    }

    [Fact]
    public void A_cancelled_run_stops_and_impossible_options_are_refused()
    {
        using var cancelled = new CancellationTokenSource();
        cancelled.Cancel();
        var mesh = PictureSamples.Sphere(s_center, Radius, 10);
        var act = () => PreviewPicture.Draw(mesh, PreviewOptions.Default, new RunContext(cancellation: cancelled.Token));
        act.Should().Throw<OperationCanceledException>();
        foreach (var options in new[] { new PreviewOptions { Views = [] }, new PreviewOptions { WidthPixels = 639 }, new PreviewOptions { WidthPixels = 700 }, new PreviewOptions { HeightPixels = 4001 } })
        {
            var draw = () => PreviewPicture.Draw(mesh, options, RunContext.Default);
            draw.Should().Throw<ArgumentOutOfRangeException>();
        }
    }

    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData("front", "L", "H", "A")]
    [InlineData("back", "R", "H", "P")]
    [InlineData("left", "P", "H", "L")]
    [InlineData("right", "A", "H", "R")]
    [InlineData("above", "R", "A", "H")]
    [InlineData("below", "L", "A", "F")]
    [InlineData("oblique", null, null, null)]
    public void Views_are_right_handed_and_named_by_what_they_show(string name, string? right, string? up, string? toward)
    {
        ViewDirection[] all = [ViewDirection.Front, ViewDirection.Back, ViewDirection.LeftSide, ViewDirection.RightSide, ViewDirection.Above, ViewDirection.Below, ViewDirection.Oblique];
        var view = all.Single(v => v.Name == name);
        (Vec3.Cross(view.Right, view.Up) - view.Toward).Length.Should().BeLessThan(1e-15);
        ViewDirection.Letter(view.Right).Should().Be(right);
        ViewDirection.Letter(view.Up).Should().Be(up);
        ViewDirection.Letter(view.Toward).Should().Be(toward);
    }

    /// <summary>Mean position of the marker's colour across a view, 0 left to 1 right; -1 where it is not seen.</summary>
    private static double Marker(PreviewSheet sheet, int view)
    {
        var panel = sheet.Panels[view];
        double sum = 0, count = 0;
        for (var y = panel.Top; y < panel.Top + panel.Height; y++)
        {
            for (var x = panel.Left; x < panel.Left + panel.Width; x++)
            {
                var pixel = sheet.Canvas[x, y];
                if (pixel.Red <= 2 * pixel.Blue)
                    continue;
                sum += (x + 0.5 - panel.Left) / panel.Width;
                count++;
            }
        }

        return count == 0 ? -1 : sum / count;
    }
}
