using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Imaging.Pictures;

/// <summary>Twelve layers of a model as it lies, from the bed up, as a machine would lay them: material dark, seen from above.</summary>
/// <remarks>
/// Each layer is the section through the middle of its height (<see cref="SectionCurves"/>), filled by crossings along the rows of pixels (even-odd), so that
/// voids stay white. All layers to one scale. What a slicing program adds (support, raft, fill) is not shown. Same bytes on any number of threads.
/// </remarks>
public static class LayerSheet
{
    private const int Columns = 4;
    private const int Rows = 3;
    private const int Tile = 420;
    private const int Edge = 16;
    private const int Caption = 34;
    private const int Head = 50;
    private const int Foot = 84;

    private static readonly Rgb s_paper = new(247, 248, 250);
    private static readonly Rgb s_tile = new(255, 255, 255);
    private static readonly Rgb s_ink = new(30, 36, 44);
    private static readonly Rgb s_material = new(70, 84, 110);
    private static readonly Rgb s_warning = new(160, 72, 0);

    /// <param name="mesh">As it lies: z up.</param>
    /// <exception cref="CheckFailedException">The mesh has no triangles or a position that is not finite.</exception>
    public static void Write(Mesh mesh, string path, double layerHeightMm, RunContext run)
    {
        ArgumentOutOfRangeException.ThrowIfNegativeOrZero(layerHeightMm);
        var bounds = PictureBounds.Of(mesh);
        var layers = Math.Max(1, (int)Math.Ceiling((bounds.Size.Z / layerHeightMm) - 1e-6));
        var scale = (Tile - (2 * Edge)) / Math.Max(1e-3, Math.Max(bounds.Size.X, bounds.Size.Y));
        using var canvas = new Canvas(Columns * Tile, Head + (Rows * (Tile + Caption)) + Foot, s_paper);
        canvas.Text(FormattableString.Invariant($"Layers seen from above, {layers} of {layerHeightMm:0.###} mm; +x to the right, +y up"), Edge, 34, 16, s_ink);
        for (var i = 0; i < Columns * Rows; i++)
        {
            run.ThrowIfCancelled();
            var layer = Of(i, layers);
            var (left, top) = (i % Columns * Tile, Head + (i / Columns * (Tile + Caption)));
            canvas.Fill(left + 4, top + 4, Tile - 8, Tile - 8, s_tile);
            Fill(canvas, SectionCurves.Cut(mesh, 2, HeightMm(bounds, layer, layerHeightMm), run), bounds, scale, left, top);
            canvas.Text(FormattableString.Invariant($"layer {layer}, {layer * layerHeightMm:0.0} mm"), left + (Tile / 2), top + Tile + 20, 13, s_ink, Align.Center);
        }

        ScaleBar.Draw(canvas, Edge, canvas.Height - Foot + 34, scale, canvas.Width / 5.0, s_ink);
        canvas.Text(SafetyLine.Text, Edge, canvas.Height - 16, 13, s_warning);
        canvas.SavePng(path);
    }

    /// <summary>The first, the last, and ten between them at even steps.</summary>
    internal static int Of(int tile, int layers) => 1 + (int)Math.Round(tile * (layers - 1.0) / ((Columns * Rows) - 1));

    // The last layer may stick out above the model: its middle stays inside.
    private static double HeightMm(Box3 bounds, int layer, double layerHeightMm)
    {
        var (from, to) = (bounds.Min.Z + ((layer - 1) * layerHeightMm), Math.Min(bounds.Max.Z, bounds.Min.Z + (layer * layerHeightMm)));
        return (from + to) / 2;
    }

    private static void Fill(Canvas canvas, IReadOnlyList<SectionCurve> curves, Box3 bounds, double scale, int left, int top)
    {
        var crossings = new List<double>[Tile];
        for (var row = 0; row < Tile; row++)
            crossings[row] = [];
        foreach (var curve in curves)
            for (var i = 0; i < curve.SegmentOrigins.Count; i++)
                Cross(crossings, At(curve.PointsMm[i]), At(curve.PointsMm[(i + 1) % curve.PointsMm.Count]));
        for (var row = 0; row < Tile; row++)
        {
            crossings[row].Sort();
            for (var i = 0; i + 1 < crossings[row].Count; i += 2)
            {
                var from = (int)Math.Round(crossings[row][i]);
                var to = (int)Math.Round(crossings[row][i + 1]);
                // A wall thinner than a pixel is still a wall.
                canvas.Fill(left + from, top + row, Math.Max(1, to - from), 1, s_material);
            }
        }

        (double X, double Y) At(Vec3 p) => ((Tile / 2) + ((p.X - bounds.Center.X) * scale), (Tile / 2) - ((p.Y - bounds.Center.Y) * scale));
    }

    // Rows of pixels are crossed at their middles; a segment owns its upper end and not its lower.
    private static void Cross(List<double>[] crossings, (double X, double Y) a, (double X, double Y) b)
    {
        if (a.Y > b.Y)
            (a, b) = (b, a);
        for (var row = Math.Max(0, (int)Math.Ceiling(a.Y - 0.5)); row < Tile && row + 0.5 < b.Y; row++)
            crossings[row].Add(a.X + ((row + 0.5 - a.Y) / (b.Y - a.Y) * (b.X - a.X)));
    }
}
