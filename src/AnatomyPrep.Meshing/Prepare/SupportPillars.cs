using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Prepare;

/// <summary>The room of the support as thin upright pillars, for pictures: where it is, not how a slicing program builds it.</summary>
/// <remarks>One pillar a pixel of <see cref="ColumnRaster"/>, from what overhangs down to the next surface or the bed, as <see cref="SupportNeed"/> sums it. O(triangles + pixels).</remarks>
public static class SupportPillars
{
    // Of a pixel's side: the model is seen between them.
    private const double Side = 0.35;

    /// <param name="mesh">As it lies: z up.</param>
    /// <param name="pixelMm">Distance between pillars.</param>
    /// <returns>Boxes about the mesh's own origin; marked as added.</returns>
    /// <exception cref="OperationCanceledException">Asked before it begins.</exception>
    public static Mesh Of(Mesh mesh, double limitDeg, double pixelMm, RunContext run)
    {
        var raster = new ColumnRaster();
        raster.Cast(mesh, UpFrame.Of(new(0, 0, 1)), pixelMm, run);
        var along = new float[mesh.TriangleCount];
        FaceTable.Of(mesh, run).Along(raster.Frame.Up, along);
        var limit = SupportNeed.Limit(limitDeg);
        var builder = new MeshBuilder(mesh.OriginMm);
        for (var pixel = 0; pixel < raster.Width * raster.Depth; pixel++)
        {
            var inside = 0;
            var top = raster.LowestMm;
            foreach (var crossing in raster.At(pixel))
            {
                if (!crossing.Entering)
                    (inside, top) = (inside - 1, crossing.HeightMm);
                else if (inside++ == 0 && along[crossing.Triangle] < limit && crossing.HeightMm - top > SupportNeed.BedMm)
                    Pillar(builder, mesh.OriginMm, raster, pixel, top, crossing.HeightMm);
            }
        }

        return builder.Build();
    }

    private static void Pillar(MeshBuilder builder, Vec3 originMm, ColumnRaster raster, int pixel, double from, double to)
    {
        var (row, column) = (pixel / raster.Width, pixel % raster.Width);
        var first = builder.VertexCount;
        for (var corner = 0; corner < 8; corner++)
        {
            double Across(int bit) => 0.5 + ((corner >> bit & 1) == 0 ? -Side / 2 : Side / 2);
            builder.AddVertex(originMm + raster.Frame.ToLocal(
                raster.CornerRightMm + ((column + Across(0)) * raster.PixelMm),
                raster.CornerBackMm + ((row + Across(1)) * raster.PixelMm),
                corner < 4 ? from : to));
        }

        ReadOnlySpan<byte> faces = [0, 3, 1, 0, 2, 3, 4, 5, 7, 4, 7, 6, 0, 1, 5, 0, 5, 4, 2, 7, 3, 2, 6, 7, 0, 6, 2, 0, 4, 6, 1, 3, 7, 1, 7, 5];
        for (var i = 0; i < faces.Length; i += 3)
            builder.AddTriangle(first + faces[i], first + faces[i + 1], first + faces[i + 2], Origin.Added);
    }
}
