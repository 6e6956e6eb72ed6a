using System.Security.Cryptography;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Pictures;
using AnatomyPrep.Tests.Core.Volumes;
using AnatomyPrep.Tests.Imaging.Volumes;

namespace AnatomyPrep.Tests.Imaging.Pictures;

public sealed class SectionPicturesTests
{
    private const double Radius = 30;
    private static readonly Vec3 s_center = new(8, -55, 310);
    private static readonly Rgb s_paper = new(14, 17, 20);
    private static readonly Rgb s_ink = new(236, 238, 240);

    public static TheoryData<string, double> PlanesAndOffsets => new()
    {
        { "axial", 0 },
        { "axial", 11.3 },
        { "coronal", 4.2 },
        { "sagittal", -7.7 },
    };

    [Theory]
    [Trait("Kind", "Truth")]
    [MemberData(nameof(PlanesAndOffsets))]
    public void In_a_tilted_oblique_uneven_volume_a_sphere_is_round_and_the_outline_lies_on_its_half_maximum(string name, double offset)
    {
        // HU falls from 1000 to 0 over 20 mm across the surface: linear in the distance, half at the radius.
        const double RampMm = 20;
        var map = PatientSamplerTests.Oblique(130, 90, 40, s_center);
        using var volume = VolumeSamples.InPatient(130, 90, map, p => 1000 * Math.Clamp(0.5 - ((Vec3.Distance(p, s_center) - Radius) / RampMm), 0, 1));
        var mesh = PictureSamples.Sphere(s_center, Radius, 120);
        var plane = SectionPlane.All.Single(p => p.Name == name);
        var options = new SectionOptions { LongSidePixels = 300, OutlinePixels = 1 };
        using var picture = SectionPictures.Draw(mesh, volume, plane, s_center[plane.Axis] + offset, options, RunContext.Default);
        var frame = picture.Frame;
        var hu = SectionPictures.Sample(volume, frame, RunContext.Default);

        // Interpolating a function whose second derivative along any line is at most slope / distance from the centre, in
        // a cell with edges e: at most the sum of e²/8 times that; divided by the slope it is a shift. Cell edges: 0.6,
        // 0.9 and up to 4 mm along the normal with 0.3 of it as slip. Only the ramp's middle half is looked at.
        const double Cell = (0.6 * 0.6) + (0.9 * 0.9) + (4 * 4 * 1.09);
        const double ShiftMm = (Cell / (8 * (Radius - (RampMm / 4)))) + (0.5 / (1000 / RampMm));
        var circle = Math.Sqrt((Radius * Radius) - (offset * offset));
        // A shift along the sphere's normal grows in an oblique section by R / r.
        var bound = ShiftMm * Radius / circle / frame.MmPerPixel;
        bound.Should().BeLessThan(0.5, "else the phantom is too coarse to show half a pixel");
        var (cx, cy) = frame.ToPicture(s_center);
        for (var degree = 0; degree < 360; degree += 3)
        {
            var (sin, cos) = Math.SinCos(degree * Math.PI / 180);
            var edge = HalfMaximum(hu, frame, cx, cy, cos, sin, circle / frame.MmPerPixel);
            edge.Should().BeApproximately(circle / frame.MmPerPixel, bound, "the sphere is round, at {0} degrees", degree);
            Outline(picture, cx, cy, cos, sin, circle / frame.MmPerPixel).Should().BeApproximately(edge, 0.5, "at {0} degrees", degree);
        }
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void The_drawn_outline_is_the_analytic_circle_within_a_quarter_pixel()
    {
        using var volume = Marked();
        var mesh = PictureSamples.Sphere(s_center, Radius, 150);
        using var picture = SectionPictures.Draw(
            mesh, volume, SectionPlane.Axial, s_center.Z + 3, new SectionOptions { LongSidePixels = 700, OutlinePixels = 1 }, RunContext.Default);
        var (cx, cy) = picture.Frame.ToPicture(s_center);
        var circle = Math.Sqrt((Radius * Radius) - 9) / picture.Frame.MmPerPixel;
        // Facets lie at most c² / 2r inside. The centre of mass is read by interpolating coverage between pixel centres
        // every tenth of a pixel: the interpolation of a ridge one pixel wide moves it by at most 1/8 + 1/20 pixel.
        var c = PictureSamples.Circumradius(Radius, 150) / picture.Frame.MmPerPixel;
        var bound = (c * c / (2 * circle)) + 0.125 + 0.05;
        bound.Should().BeLessThan(0.25);
        for (var degree = 0; degree < 360; degree++)
        {
            var (sin, cos) = Math.SinCos(degree * Math.PI / 180);
            Outline(picture, cx, cy, cos, sin, circle).Should().BeApproximately(circle, bound, "at {0} degrees", degree);
        }
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Left_front_and_head_are_on_the_side_of_their_letters()
    {
        // Bright blocks toward the patient's left (+x), front (-y) and head (+z) of a dark volume.
        using var volume = Marked();
        var mesh = PictureSamples.Sphere(s_center, Radius, 20);
        foreach (var (plane, right, up, left, down) in new[]
        {
            (SectionPlane.Axial, "L", "A", "R", "P"),
            (SectionPlane.Coronal, "L", "H", "R", "F"),
            (SectionPlane.Sagittal, "P", "H", "A", "F"),
        })
        {
            using var picture = SectionPictures.Draw(mesh, volume, plane, s_center[plane.Axis], SectionOptions.Default, RunContext.Default);
            var (frame, canvas) = (picture.Frame, picture.Canvas);
            int x0 = picture.Left, y0 = picture.Top, w = frame.Width, h = frame.Height;
            Ink.In(canvas, x0 + w, y0, 44, h).Should().Be(Ink.Of(right, 22, s_ink, s_paper), "right of the {0} section", plane.Name);
            Ink.In(canvas, x0 - 44, y0, 44, h).Should().Be(Ink.Of(left, 22, s_ink, s_paper), "left of the {0} section", plane.Name);
            Ink.In(canvas, x0, y0 - 38, w, 38).Should().Be(Ink.Of(up, 22, s_ink, s_paper), "above the {0} section", plane.Name);
            Ink.In(canvas, x0, y0 + h, w, 40).Should().Be(Ink.Of(down, 22, s_ink, s_paper), "below the {0} section", plane.Name);

            Brightness(picture, 0.8, 0.5).Should().Be(right == "L" ? 255 : 0);
            Brightness(picture, 0.2, 0.5).Should().Be(left == "A" ? 255 : 0);
            Brightness(picture, 0.5, 0.2).Should().Be(255, "front or head is on top");
            Brightness(picture, 0.5, 0.8).Should().Be(0);
        }
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Colours_tell_where_the_surface_was_measured_and_where_filled()
    {
        using var volume = Marked();
        var mesh = PictureSamples.Sphere(s_center, Radius, 40, p => p.X > s_center.X ? Origin.Filled : Origin.Measured);
        using var picture = SectionPictures.Draw(mesh, volume, SectionPlane.Axial, s_center.Z, SectionOptions.Default, RunContext.Default);
        int filledLeft = 0, filledRight = 0, measuredLeft = 0, measuredRight = 0;
        for (var y = 0; y < picture.Frame.Height; y++)
        {
            for (var x = 0; x < picture.Frame.Width; x++)
            {
                var pixel = picture.Canvas[picture.Left + x, picture.Top + y];
                var right = x > picture.Frame.Width / 2;
                if (pixel == OriginPalette.Outline(Origin.Filled))
                    _ = right ? filledRight++ : filledLeft++;
                if (pixel == OriginPalette.Outline(Origin.Measured))
                    _ = right ? measuredRight++ : measuredLeft++;
            }
        }

        // Half a circle of radius 30 / 84 · 1000 pixels is some 1,100 pixels long; a line may lean out by a pixel at the joint.
        filledRight.Should().BeGreaterThan(1000);
        measuredLeft.Should().BeGreaterThan(500);
        filledLeft.Should().BeLessThanOrEqualTo(6);
        measuredRight.Should().BeLessThanOrEqualTo(6);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void The_scale_bar_is_as_long_as_its_number_says_and_the_warning_is_there()
    {
        using var volume = Marked();
        using var picture = SectionPictures.Draw(PictureSamples.Sphere(s_center, Radius, 20), volume, SectionPlane.Coronal, s_center.Y, SectionOptions.Default, RunContext.Default);
        var canvas = picture.Canvas;
        // 84 mm wide, at most a third of the canvas: 20 mm.
        var row = picture.Top + picture.Frame.Height + 44 + 20;
        var ink = Enumerable.Range(0, canvas.Width / 2).Where(x => canvas[x, row - 5] == s_ink && canvas[x, row + 5] == s_ink).ToList();
        var pixels = ink.Max() + 1 - ink.Min();
        ((double)pixels).Should().BeApproximately(20 / picture.Frame.MmPerPixel, 0.5, "the bar ends on whole pixels");
        Ink.In(canvas, ink.Max() + 2, row - 12, 120, 24).Should().Be(Ink.Of("20 mm", 13, s_ink, s_paper));
        Ink.In(canvas, 0, canvas.Height - 34, canvas.Width, 34).Should().Be(Ink.Of("For education and planning only", 13, new Rgb(255, 190, 92), s_paper));
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Any_number_of_threads_writes_the_same_nine_files()
    {
        using var volume = Marked();
        var mesh = PictureSamples.Sphere(s_center, Radius, 30);
        var options = new SectionOptions { LongSidePixels = 200 };
        var hashes = new HashSet<string>();
        foreach (var threads in new[] { 1, 2, 3, 16 })
        {
            using var folder = new TestFolder();
            var files = SectionPictures.Write(mesh, volume, folder.Path, options, new RunContext(threads: threads));
            files.Select(f => f.Name).Should().Equal(
                "sections/axial-1.png", "sections/axial-2.png", "sections/axial-3.png",
                "sections/coronal-1.png", "sections/coronal-2.png", "sections/coronal-3.png",
                "sections/sagittal-1.png", "sections/sagittal-2.png", "sections/sagittal-3.png");
            files[1].PositionMm.Should().BeApproximately(s_center.Z, 1e-5, "the second goes through the middle of the model");
            hashes.Add(string.Concat(files.Select(f => Convert.ToHexString(SHA256.HashData(File.ReadAllBytes(folder[f.Name]))))));
        }

        hashes.Should().ContainSingle();
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_plane_beside_the_model_says_that_there_is_no_outline()
    {
        using var volume = Marked();
        var mesh = PictureSamples.Box(s_center, s_center + new Vec3(20, 20, 20));
        foreach (var (z, words) in new[] { (s_center.Z - 5, "No outline in this plane"), (s_center.Z + 5, "") })
        {
            using var picture = SectionPictures.Draw(mesh, volume, SectionPlane.Axial, z, SectionOptions.Default, RunContext.Default);
            var canvas = picture.Canvas;
            Ink.In(canvas, canvas.Width / 2, canvas.Height - 34, canvas.Width / 2, 34)
                .Should().Be(words.Length == 0 ? "" : Ink.Of(words, 13, new Rgb(255, 190, 92), s_paper));
        }
    }

    [Theory]
    [Trait("Kind", "Hostile")]
    [InlineData(1000, 1, 1)]
    [InlineData(1, 1, 400)]
    [InlineData(0.01, 0.02, 0.01)]
    public void Long_thin_and_tiny_models_get_a_picture_with_room_for_its_words(double x, double y, double z)
    {
        using var volume = Marked();
        var mesh = PictureSamples.Box(s_center, s_center + new Vec3(x, y, z));
        using var folder = new TestFolder();
        SectionPictures.Write(mesh, volume, folder.Path, new SectionOptions { LongSidePixels = 400 }, RunContext.Default).Should().HaveCount(9);
        foreach (var plane in SectionPlane.All)
        {
            using var picture = SectionPictures.Draw(mesh, volume, plane, s_center[plane.Axis], new SectionOptions { LongSidePixels = 400 }, RunContext.Default);
            var room = picture.Canvas.Width - 88;
            Canvas.TextWidth("Seen from the left side. Grey: soft tissue, 500 HU +/- 1000", 13).Should().BeLessThan(room);
            Canvas.TextWidth("Sagittal section at x = -1234.5 mm", 20).Should().BeLessThan(room);
            Canvas.TextWidth("For education and planning only No outline in this plane", 13).Should().BeLessThan(room);
        }
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_model_without_triangles_or_with_broken_positions_is_refused_and_nothing_is_written()
    {
        using var volume = Marked();
        using var folder = new TestFolder();
        foreach (var mesh in new[] { Mesh.Empty, new Mesh(Vec3.Zero, [0, 0, 0, 1, float.NaN, 0, 0, 1, 1], [0, 1, 2]), new Mesh(Vec3.Zero, [0, 0, 0, 1, float.PositiveInfinity, 0, 0, 1, 1], [0, 1, 2]) })
        {
            var act = () => SectionPictures.Write(mesh, volume, folder.Path, SectionOptions.Default, RunContext.Default);
            act.Should().Throw<CheckFailedException>();
        }

        Directory.EnumerateFileSystemEntries(folder.Path).Should().BeEmpty();
    }

    [Fact]
    public void A_cancelled_run_stops_and_impossible_options_are_refused()
    {
        using var volume = Marked();
        using var folder = new TestFolder();
        using var cancelled = new CancellationTokenSource();
        cancelled.Cancel();
        var mesh = PictureSamples.Sphere(s_center, Radius, 10);
        var act = () => SectionPictures.Write(mesh, volume, folder.Path, SectionOptions.Default, new RunContext(cancellation: cancelled.Token));
        act.Should().Throw<OperationCanceledException>();
        foreach (var options in new[] { new SectionOptions { LongSidePixels = 99 }, new SectionOptions { LongSidePixels = 4001 }, new SectionOptions { MarginMm = double.NaN }, new SectionOptions { OutlinePixels = 0 } })
        {
            var draw = () => SectionPictures.Draw(mesh, volume, SectionPlane.Axial, s_center.Z, options, RunContext.Default);
            draw.Should().Throw<ArgumentOutOfRangeException>();
        }
    }

    private static Volume Marked()
    {
        var origins = Enumerable.Range(0, 51).Select(k => s_center + new Vec3(-50, -50, (2 * k) - 50)).ToArray();
        return VolumeSamples.InPatient(51, 51, new IndexToPatient(new Vec3(2, 0, 0), new Vec3(0, 2, 0), origins), p =>
        {
            var d = p - s_center;
            return d.X > 14 || d.Y < -14 || d.Z > 14 ? 3000 : -1000;
        });
    }

    private static int Brightness(SectionPicture picture, double across, double down) =>
        picture.Canvas[picture.Left + (int)(across * picture.Frame.Width), picture.Top + (int)(down * picture.Frame.Height)].Green;

    /// <summary>Distance in pixels from the centre at which the grey values, interpolated between pixel centres, fall through 500.</summary>
    private static double HalfMaximum(float[] hu, SectionFrame frame, double cx, double cy, double cos, double sin, double near)
    {
        var before = double.NaN;
        for (var r = near - 8; r < near + 8; r += 0.05)
        {
            var value = Bilinear(cx + (r * cos), cy + (r * sin), (x, y) => hu[(y * frame.Width) + x]);
            if (before >= 500 && value < 500)
                return r - (0.05 * (500 - value) / (before - value));
            before = value;
        }

        return double.NaN;
    }

    /// <summary>Centre of mass of the outline's colour along a ray, in pixels from the centre. Grey has none of it.</summary>
    private static double Outline(SectionPicture picture, double cx, double cy, double cos, double sin, double near)
    {
        double sum = 0, weight = 0;
        for (var r = near - 4; r < near + 4; r += 0.1)
        {
            var yellow = Bilinear(cx + (r * cos), cy + (r * sin), (x, y) =>
            {
                var pixel = picture.Canvas[picture.Left + x, picture.Top + y];
                return pixel.Red - pixel.Blue;
            });
            sum += yellow * r;
            weight += yellow;
        }

        return sum / weight;
    }

    private static double Bilinear(double x, double y, Func<int, int, double> at)
    {
        x -= 0.5;
        y -= 0.5;
        int i = (int)Math.Floor(x), j = (int)Math.Floor(y);
        double s = x - i, t = y - j;
        return ((1 - t) * (((1 - s) * at(i, j)) + (s * at(i + 1, j)))) + (t * (((1 - s) * at(i, j + 1)) + (s * at(i + 1, j + 1))));
    }
}
