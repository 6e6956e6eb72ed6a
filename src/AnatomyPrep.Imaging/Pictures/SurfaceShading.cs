using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Imaging.Pictures;

/// <summary>Light and colour of a rasterised mesh.</summary>
/// <remarks>
/// Matte surface (Lambert) under one lamp from the upper left and a bright sky, darkened in pits (<see cref="Obscurance"/>),
/// with distance, and toward the silhouette. Vertex normals are blended over a triangle; where that departs more than 40° from the
/// triangle's own plane, at a cut for example, the plane counts, so edges stay crisp. The inner side of an open surface is
/// shown darker. Square roots only, no powers: the same bytes on every machine.
/// </remarks>
internal static class SurfaceShading
{
    private const int BandRows = 16;
    private const double ReachShare = 0.11; // of the model's diagonal
    private const double SmoothWithin = 0.766; // cos 40°

    private static readonly Vec3 s_lamp = new Vec3(-0.45, 0.55, 0.85).Normalized(); // right, up, toward

    /// <summary>Draws the raster at half its size (2 × 2 pixels to one) with the frame's top left corner at (left, top).</summary>
    internal static unsafe void Draw(Canvas canvas, int left, int top, Mesh mesh, float[] vertexNormals, DepthRaster raster, Rgb paper, TriangleColours? colours, RunContext run)
    {
        var frame = raster.Frame;
        var size = mesh.BoundsMm().Diagonal;
        var normals = PixelNormals(mesh, vertexNormals, raster, run);
        var open = Obscurance.Of(raster, normals, size * ReachShare, run);
        Partition.Ranges(run, frame.Height / 2, BandRows, (_, from, to) =>
        {
            for (var row = from; row < to; row++)
            {
                for (var column = 0; column < frame.Width / 2; column++)
                {
                    Vec3 sum = default;
                    for (var n = 0; n < 4; n++)
                    {
                        var pixel = (((2 * row) + (n >> 1)) * frame.Width) + (2 * column) + (n & 1);
                        sum += Colour(mesh, raster, normals, open[pixel], pixel, size, paper, colours);
                    }

                    canvas.Put(left + column, top + row, new(Byte(sum.X / 4), Byte(sum.Y / 4), Byte(sum.Z / 4)));
                }
            }
        });
    }

    /// <summary>Right, up, toward of every pixel; the third is negative where the inner side is seen.</summary>
    private static float[] PixelNormals(Mesh mesh, float[] vertexNormals, DepthRaster raster, RunContext run)
    {
        var frame = raster.Frame;
        var normals = new float[3 * frame.Width * frame.Height];
        Partition.Ranges(run, frame.Height, BandRows, (_, from, to) =>
        {
            for (var row = from; row < to; row++)
            {
                for (var column = 0; column < frame.Width; column++)
                {
                    var pixel = (row * frame.Width) + column;
                    if (raster.Triangle[pixel] == DepthRaster.None)
                        continue;
                    var n = Normal(mesh, vertexNormals, raster, column, row);
                    normals[3 * pixel] = (float)Vec3.Dot(n, frame.View.Right);
                    normals[(3 * pixel) + 1] = (float)Vec3.Dot(n, frame.View.Up);
                    normals[(3 * pixel) + 2] = (float)Vec3.Dot(n, frame.View.Toward);
                }
            }
        });
        return normals;
    }

    private static Vec3 Normal(Mesh mesh, float[] vertexNormals, DepthRaster raster, int column, int row)
    {
        var triangle = raster.Triangle[(row * raster.Frame.Width) + column];
        var (a, b, c) = mesh.Triangle(triangle);
        var face = VertexNormals.Face(mesh, a, b, c).Normalized();
        var (u, v, w) = raster.Weights(triangle, column, row);
        var smooth = ((At(a) * u) + (At(b) * v) + (At(c) * w)).Normalized();
        return Vec3.Dot(smooth, face) >= SmoothWithin ? smooth : face;

        Vec3 At(int vertex) =>
            new Vec3(vertexNormals[3 * vertex], vertexNormals[(3 * vertex) + 1], vertexNormals[(3 * vertex) + 2]).Normalized();
    }

    private static Vec3 Colour(Mesh mesh, DepthRaster raster, float[] normals, double openness, int pixel, double sizeMm, Rgb paper, TriangleColours? colours)
    {
        var triangle = raster.Triangle[pixel];
        if (triangle == DepthRaster.None)
            return new(paper.Red, paper.Green, paper.Blue);
        var n = new Vec3(normals[3 * pixel], normals[(3 * pixel) + 1], normals[(3 * pixel) + 2]);
        var inner = n.Z < 0;
        if (inner)
            n = -n;
        var sky = 0.38 * (0.7 + (0.3 * n.Y)) * openness;
        var lamp = 0.84 * Math.Max(0, Vec3.Dot(n, s_lamp)) * (0.3 + (0.7 * openness));
        // The further behind the middle, the dimmer: half the size of the model away, a third less.
        var distance = Math.Clamp(1 + (0.66 * raster.DepthMm[pixel] / sizeMm), 0.6, 1);
        var light = (sky + lamp) * distance * (0.66 + (0.34 * n.Z)) * (inner ? 0.45 : 1);
        var colour = colours?.Of(triangle) ?? OriginPalette.Surface(mesh.Origins[triangle]);
        return new(Shade(colour.Red, light), Shade(colour.Green, light), Shade(colour.Blue, light));
    }

    /// <summary>Display value of a surface colour under a light; display values are taken as square roots of light.</summary>
    private static double Shade(byte colour, double light) => Math.Min(255, colour * Math.Sqrt(light));

    private static byte Byte(double value) => (byte)Math.Clamp(Math.Round(value), 0, 255);
}
