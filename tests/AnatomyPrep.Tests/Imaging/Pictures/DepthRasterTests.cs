using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Imaging.Pictures;

namespace AnatomyPrep.Tests.Imaging.Pictures;

public sealed class DepthRasterTests
{
    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData("front")]
    [InlineData("oblique")]
    public void Every_row_of_a_spheres_silhouette_is_as_long_as_its_chord(string name)
    {
        const double Radius = 20, PixelsPerMm = 7.3;
        const int Rings = 200;
        var center = new Vec3(4, -3, 1200);
        var mesh = PictureSamples.Sphere(center, Radius, Rings);
        var view = name == "front" ? ViewDirection.Front : ViewDirection.Oblique;
        var frame = new ViewFrame(view, center, PixelsPerMm, 320, 310);
        var raster = DepthRaster.Draw(mesh, frame, RunContext.Default);

        // The silhouette of the inscribed mesh is between the circles of sqrt(R² - c²) and R, one more 1/512 pixel for the grid.
        var c = PictureSamples.Circumradius(Radius, Rings);
        double outer = (Radius * PixelsPerMm) + (1.0 / 512), inner = (Math.Sqrt((Radius * Radius) - (c * c)) * PixelsPerMm) - (1.0 / 512);
        var counted = 0;
        for (var row = 0; row < frame.Height; row++)
        {
            var y = row + 0.5 - (frame.Height / 2.0);
            var seen = Enumerable.Range(0, frame.Width).Where(x => raster.Triangle[(row * frame.Width) + x] != DepthRaster.None).ToList();
            if (seen.Count > 0)
                (seen[^1] - seen[0] + 1).Should().Be(seen.Count, "no gaps in row {0}", row);
            seen.Count.Should().BeInRange(Centres(inner, y), Centres(outer, y), "in row {0}", row);
            counted += seen.Count;
        }

        // Row by row the count is right, so the area is that of the circle up to the pixels between the two circles.
        ((double)counted).Should().BeApproximately(Math.PI * outer * outer, (Math.PI * ((outer * outer) - (inner * inner))) + (2 * outer));

        int Centres(double radius, double y) => Math.Abs(y) > radius
            ? 0
            : Enumerable.Range(0, frame.Width).Count(x => Math.Abs(x + 0.5 - (frame.Width / 2.0)) <= Math.Sqrt((radius * radius) - (y * y)));
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Depth_is_the_spheres_height_toward_the_viewer()
    {
        const double Radius = 20, PixelsPerMm = 5;
        const int Rings = 100;
        var mesh = PictureSamples.Sphere(Vec3.Zero, Radius, Rings);
        var raster = DepthRaster.Draw(mesh, new ViewFrame(ViewDirection.Front, Vec3.Zero, PixelsPerMm, 200, 200), RunContext.Default);
        var c = PictureSamples.Circumradius(Radius, Rings);
        for (var row = 30; row < 170; row++)
        {
            for (var column = 30; column < 170; column++)
            {
                double u = (column + 0.5 - 100) / PixelsPerMm, v = (row + 0.5 - 100) / PixelsPerMm;
                if ((u * u) + (v * v) > 0.7 * Radius * Radius)
                    continue;
                // Facets are short of the sphere by c²/2R along the normal, and the grid moves a point by 1/512 pixel sideways:
                // both weigh by 1 / cos of the slope, tan of it at most 1.53 here.
                var exact = Math.Sqrt((Radius * Radius) - (u * u) - (v * v));
                var slope = Radius / exact;
                var bound = (c * c / (2 * Radius) * slope * 1.02) + (slope * Math.Sqrt(2) / 512 / PixelsPerMm) + 1e-5;
                ((double)raster.DepthMm[(row * 200) + column]).Should().BeApproximately(exact, bound);
            }
        }
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Where_two_planes_cross_the_nearer_is_seen_on_either_side()
    {
        // Seen from the front, nearer is smaller y: one sheet leans to the left, the other to the right.
        var mesh = new Mesh(
            Vec3.Zero,
            [-10, -4, -10, 10, 4, -10, 10, 4, 10, -10, -4, 10, -10, 4, -10, 10, -4, -10, 10, -4, 10, -10, 4, 10],
            [0, 1, 2, 0, 2, 3, 4, 5, 6, 4, 6, 7]);
        var raster = DepthRaster.Draw(mesh, new ViewFrame(ViewDirection.Front, Vec3.Zero, 6, 100, 100), RunContext.Default);
        for (var row = 0; row < 100; row++)
        {
            for (var column = 0; column < 100; column++)
            {
                var seen = raster.Triangle[(row * 100) + column];
                if (column < 49)
                    seen.Should().BeOneOf(0, 1);
                else if (column > 50)
                    seen.Should().BeOneOf(2, 3);
            }
        }
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Triangles_that_share_edges_cover_every_pixel_once()
    {
        // A jittered grid over the whole frame and beyond, with corners on pixel centres and shared rows and columns among them.
        const int Cells = 24;
        var random = new Random(9);
        var positions = new List<float>();
        for (var j = 0; j <= Cells; j++)
            for (var i = 0; i <= Cells; i++)
                positions.AddRange([(i * 5) - 60 + (random.Next(4) * 0.5f), 0, (j * 5) - 60 + (random.Next(4) * 0.5f)]);
        int[][] halves = [new int[Cells * Cells * 3], new int[Cells * Cells * 3]];
        for (var cell = 0; cell < Cells * Cells; cell++)
        {
            var a = ((cell / Cells) * (Cells + 1)) + (cell % Cells);
            int b = a + 1, c = a + Cells + 2, d = a + Cells + 1;
            var turned = random.Next(2) == 0;
            var first = turned ? new[] { a, b, c } : [a, b, d];
            var second = turned ? new[] { a, c, d } : [b, c, d];
            first.CopyTo(halves[cell & 1], 3 * cell);
            second.CopyTo(halves[1 - (cell & 1)], 3 * cell);
        }

        // The two meshes together are the sheet. Whatever one does not cover, the other must, and never both.
        var covered = halves.Select(half => DepthRaster.Draw(
            new Mesh(Vec3.Zero, [.. positions], half), new ViewFrame(ViewDirection.Front, Vec3.Zero, 1, 100, 100), RunContext.Default).Triangle).ToList();
        for (var pixel = 0; pixel < 100 * 100; pixel++)
            ((covered[0][pixel] != DepthRaster.None) ^ (covered[1][pixel] != DepthRaster.None)).Should().BeTrue("pixel {0}, {1}", pixel % 100, pixel / 100);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Weights_give_the_pixels_own_position_back()
    {
        var mesh = PictureSamples.Sphere(Vec3.Zero, 10, 12);
        var raster = DepthRaster.Draw(mesh, new ViewFrame(ViewDirection.Front, Vec3.Zero, 4, 90, 90), RunContext.Default);
        for (var pixel = 0; pixel < 90 * 90; pixel += 7)
        {
            if (raster.Triangle[pixel] == DepthRaster.None)
                continue;
            var (a, b, c) = mesh.Triangle(raster.Triangle[pixel]);
            var (u, v, w) = raster.Weights(raster.Triangle[pixel], pixel % 90, pixel / 90);
            Math.Min(u, Math.Min(v, w)).Should().BeGreaterThanOrEqualTo(-1e-12);
            var p = (mesh.Vertex(a) * u) + (mesh.Vertex(b) * v) + (mesh.Vertex(c) * w);
            // 1/512 pixel at 4 pixels a millimetre.
            p.X.Should().BeApproximately(((pixel % 90) + 0.5 - 45) / 4, 1.0 / 2048 + 1e-6);
            p.Z.Should().BeApproximately((45 - (pixel / 90) - 0.5) / 4, 1.0 / 2048 + 1e-6);
        }
    }
}
