using System.Collections.Concurrent;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Prepare;

/// <summary>Which surfaces a straight tool can come to from outside, to take support off.</summary>
/// <remarks>
/// A triangle can be reached when from one of the given directions within 45° of its normal its middle is seen from outside, covered by no more than a
/// pixel and a half of height. Walls thinner than that count as transparent, and a tool as a line.
/// Independent of how the model lies. O(triangles) per direction; one byte a triangle. Flags are only ever set, so the order of threads does not matter.
/// </remarks>
internal static class Reach
{
    private const float CosSteepest = 0.70710678f;
    private const double Pixels = 1.5;

    public static bool[] Shadowed(Mesh mesh, FaceTable faces, double pixelMm, Vec3[] directions, RunContext run)
    {
        var reached = new byte[mesh.TriangleCount];
        var spare = new ConcurrentBag<(ColumnRaster Raster, float[] Along)>();
        Partition.For(run, directions.Length, i =>
        {
            var (raster, along) = spare.TryTake(out var taken) ? taken : (new ColumnRaster(), new float[mesh.TriangleCount]);
            raster.Cast(mesh, UpFrame.Of(directions[i]), pixelMm, run);
            faces.Along(raster.Frame.Up, along);
            Mark(mesh, raster, along, reached);
            spare.Add((raster, along));
        });
        return Array.ConvertAll(reached, r => r == 0);
    }

    private static void Mark(Mesh mesh, ColumnRaster raster, float[] along, byte[] reached)
    {
        var near = Pixels * raster.PixelMm;
        var heights = raster.Heights;
        for (var t = 0; t < along.Length; t++)
        {
            if (along[t] < CosSteepest || reached[t] != 0)
                continue;
            var (a, b, c) = mesh.Triangle(t);
            var column = raster.At(raster.PixelOf(a, b, c));
            if (column.Length == 0 || column[^1].HeightMm - ((heights[a] + heights[b] + heights[c]) / 3) <= near)
                Volatile.Write(ref reached[t], 1);
        }
    }
}
