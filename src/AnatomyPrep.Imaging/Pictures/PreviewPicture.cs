using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Imaging.Pictures;

/// <summary>One sheet with views of a model, to one scale, with orientation letters, size and scale bar.</summary>
/// <remarks>
/// Parallel projection drawn without a graphics card: depth buffer (<see cref="DepthRaster"/>) at twice the size, shading
/// (<see cref="SurfaceShading"/>), then 2 × 2 pixels to one. Views follow the way a person is met: from the front the
/// patient's left is on the viewer's right. Same bytes on any number of threads.
/// Peak memory: 28 bytes a vertex, 8 bytes a triangle, about 40 bytes a pixel of the largest view at twice the size.
/// </remarks>
public static class PreviewPicture
{
    private const string Step = "preview";
    private const int Oversampling = 2;

    private const int MarginPixels = 44;
    private const int LetterPixels = 40;
    private const int HeaderPixels = 74;
    private const int CaptionPixels = 34;
    private const int BetweenCaptionsPixels = 20;
    private const int RowPixels = 34;
    private const int TextPixels = 13;
    private const int LetterHeight = 22;

    // "+x" is two letters: smaller, so that it stands clear of its neighbour's "-y".
    private const int MachineLetterHeight = 15;
    private const int TripodArm = 38;
    private const int TripodReach = TripodArm + 28;

    private static readonly Rgb s_paper = new(247, 248, 250);
    private static readonly Rgb s_ink = new(30, 36, 44);
    private static readonly Rgb s_faint = new(98, 106, 116);
    private static readonly Rgb s_warning = new(160, 72, 0);

    /// <exception cref="CheckFailedException">The mesh has no triangles or a position that is not finite.</exception>
    /// <exception cref="OperationCanceledException">Asked once per 32,768 triangles and per band of rows.</exception>
    public static void Write(Mesh mesh, string path, PreviewOptions options, RunContext run)
    {
        using var sheet = Draw(mesh, options, run);
        sheet.Canvas.SavePng(path);
    }

    /// <summary>The same as the bytes of a PNG file.</summary>
    /// <exception cref="CheckFailedException">As the other.</exception>
    public static byte[] Encode(Mesh mesh, PreviewOptions options, RunContext run)
    {
        using var sheet = Draw(mesh, options, run);
        return sheet.Canvas.EncodePng();
    }

    /// <summary>A small square picture (256 pixels, PNG) of the model from the front, left and above, without words.</summary>
    /// <param name="colours">Of their own; null for those of the triangles' origins.</param>
    /// <exception cref="CheckFailedException">As the other.</exception>
    public static byte[] Thumbnail(Mesh mesh, TriangleColours? colours, RunContext run)
    {
        const int side = 256;
        const int edge = 8;
        PictureBounds.Of(mesh);
        var (acrossMm, tallMm, centerMm) = ViewFrame.Extent(mesh, ViewDirection.Oblique, run);
        // A model without extent still gets a picture.
        var scale = (side - (2 * edge)) / Math.Max(Math.Max(acrossMm, tallMm), 1e-3);
        int width = Math.Clamp((int)Math.Ceiling(acrossMm * scale), 1, side - (2 * edge)), height = Math.Clamp((int)Math.Ceiling(tallMm * scale), 1, side - (2 * edge));
        var frame = new ViewFrame(ViewDirection.Oblique, centerMm, scale * Oversampling, width * Oversampling, height * Oversampling);
        using var canvas = new Canvas(side, side, s_paper);
        SurfaceShading.Draw(canvas, (side - width) / 2, (side - height) / 2, mesh, VertexNormals.Of(mesh, run), DepthRaster.Draw(mesh, frame, run), s_paper, colours, run);
        return canvas.EncodePng();
    }

    internal static PreviewSheet Draw(Mesh mesh, PreviewOptions options, RunContext run)
    {
        RequireUsable(options);
        var bounds = PictureBounds.Of(mesh);
        var layout = Layout(mesh, options, run);
        var legend = new Legend(options.Colours?.Classes ?? OriginPalette.Entries(mesh, OriginPalette.Surface), LegendWidth(layout.Panels, options.WidthPixels));
        var height = layout.Panels.Max(p => p.Height);
        var canvas = new Canvas(
            options.WidthPixels, HeaderPixels + height + (2 * LetterPixels) + CaptionPixels + (RowPixels * (legend.Rows + 2)), s_paper);
        try
        {
            canvas.Text(options.Title ?? SizeText(bounds), MarginPixels, 40, 20, s_ink);
            canvas.Text(options.Title is not null ? "to one scale" : options.Axes == PictureAxes.Machine ? "along x, y and z as it lies on the bed; all views to one scale" : "left-right x front-back x head-foot; all views to one scale", MarginPixels, 66, TextPixels, s_faint);
            var normals = VertexNormals.Of(mesh, run);
            var panels = new List<PreviewPanel>();
            foreach (var panel in layout.Panels)
            {
                var placed = panel with { Top = HeaderPixels + LetterPixels + ((height - panel.Height) / 2) };
                DrawPanel(canvas, mesh, normals, placed, options, run);
                DrawCaption(canvas, placed, HeaderPixels + height + (2 * LetterPixels), options.Axes);
                panels.Add(placed);
                run.Report(Step, "drawing views", panels.Count / (double)layout.Panels.Count);
            }

            DrawFooter(canvas, HeaderPixels + height + (2 * LetterPixels) + CaptionPixels, layout.PixelsPerMm, legend);
            return new PreviewSheet(canvas, layout.PixelsPerMm, panels);
        }
        catch
        {
            canvas.Dispose();
            throw;
        }
    }

    private static void RequireUsable(PreviewOptions options)
    {
        if (options.Views.Count == 0)
            throw new ArgumentOutOfRangeException(nameof(options), 0, "A sheet has at least one view.");
        if (options.WidthPixels is < 640 or > 6000)
            throw new ArgumentOutOfRangeException(nameof(options), options.WidthPixels, "A sheet is 640 to 6000 pixels wide.");
        var captions = (2 * MarginPixels) + options.Views.Sum(view => CaptionWidth(view, options.Axes));
        if (options.WidthPixels < captions)
            throw new ArgumentOutOfRangeException(nameof(options), options.WidthPixels, $"A sheet with these views is at least {captions} pixels wide.");
        if (options.HeightPixels is < 100 or > 4000)
            throw new ArgumentOutOfRangeException(nameof(options), options.HeightPixels, "A view is 100 to 4000 pixels high at most.");
    }

    /// <summary>The largest scale at which all views and their captions fit side by side, and where each view goes.</summary>
    private static (double PixelsPerMm, List<PreviewPanel> Panels) Layout(Mesh mesh, PreviewOptions options, RunContext run)
    {
        var extents = options.Views.Select(view => ViewFrame.Extent(mesh, view, run)).ToList();
        var captions = options.Views.Select(view => CaptionWidth(view, options.Axes)).ToList();
        var scale = Scale(extents.ConvertAll(e => e.AcrossMm), captions, extents.Max(e => e.TallMm), options);
        var cells = extents.Select((e, n) => Math.Max((int)Math.Ceiling(e.AcrossMm * scale) + (2 * LetterPixels), captions[n])).ToList();
        var spare = Math.Max(0, options.WidthPixels - (2 * MarginPixels) - cells.Sum()) / cells.Count;
        var panels = new List<PreviewPanel>();
        var left = MarginPixels;
        for (var n = 0; n < extents.Count; n++)
        {
            var (acrossMm, tallMm, centerMm) = extents[n];
            int width = Math.Max(1, (int)Math.Ceiling(acrossMm * scale)), height = Math.Max(1, (int)Math.Ceiling(tallMm * scale));
            var frame = new ViewFrame(options.Views[n], centerMm, scale * Oversampling, width * Oversampling, height * Oversampling);
            panels.Add(new(frame, left + ((cells[n] + spare - width) / 2), 0, width, height));
            left += cells[n] + spare;
        }

        return (scale, panels);
    }

    /// <remarks>A view narrower than its caption takes the caption's room; finding one makes the scale smaller, so at most one round per view.</remarks>
    private static double Scale(List<double> acrossMm, List<int> captions, double tallMm, PreviewOptions options)
    {
        var narrow = new bool[acrossMm.Count];
        while (true)
        {
            double room = options.WidthPixels - (2 * MarginPixels), across = 0;
            for (var n = 0; n < narrow.Length; n++)
            {
                room -= narrow[n] ? captions[n] : 2 * LetterPixels;
                across += narrow[n] ? 0 : acrossMm[n];
            }

            // A model without extent still gets a picture.
            var scale = Math.Min(room / Math.Max(across, 1e-3), options.HeightPixels / Math.Max(tallMm, 1e-3));
            var found = false;
            for (var n = 0; n < narrow.Length; n++)
                if (!narrow[n] && (acrossMm[n] * scale) + (2 * LetterPixels) < captions[n])
                    narrow[n] = found = true;
            if (!found)
                return scale;
        }
    }

    /// <summary>The legend ends before the arrows that stand beside it.</summary>
    private static int LegendWidth(IReadOnlyList<PreviewPanel> panels, int widthPixels)
    {
        var room = widthPixels - (2 * MarginPixels);
        foreach (var panel in panels)
        {
            var before = panel.Left + (panel.Width / 2) - TripodReach - MarginPixels;
            if (ViewDirection.Letter(panel.Frame.View.Right) is null && before > room / 3)
                room = Math.Min(room, before);
        }

        return room;
    }

    private static string Caption(ViewDirection view, PictureAxes axes) => $"Seen {(axes == PictureAxes.Machine ? view.MachineDescription : view.Description)}";

    private static string? Letter(Vec3 direction, PictureAxes axes) => axes == PictureAxes.Machine ? ViewDirection.MachineLetter(direction) : ViewDirection.Letter(direction);

    private static int CaptionWidth(ViewDirection view, PictureAxes axes) => Canvas.TextWidth(Caption(view, axes), TextPixels) + BetweenCaptionsPixels;

    private static void DrawPanel(Canvas canvas, Mesh mesh, float[] normals, PreviewPanel panel, PreviewOptions options, RunContext run)
    {
        var raster = DepthRaster.Draw(mesh, panel.Frame, run);
        SurfaceShading.Draw(canvas, panel.Left, panel.Top, mesh, normals, raster, s_paper, options.Colours, run);
        for (var m = 0; m < options.Marks.Count; m++)
            MarkPen.Draw(canvas, panel, raster, options.Marks[m], m, s_paper);
        DrawLetters(canvas, panel, options.Axes);
    }

    private static void DrawLetters(Canvas canvas, PreviewPanel panel, PictureAxes axes)
    {
        var view = panel.Frame.View;
        if (Letter(view.Right, axes) is not { } right || Letter(view.Up, axes) is not { } up)
            return;
        var letterHeight = axes == PictureAxes.Machine ? MachineLetterHeight : LetterHeight;
        int middleX = panel.Left + (panel.Width / 2), middleY = panel.Top + (panel.Height / 2) + (letterHeight / 2);
        canvas.Text(Letter(-view.Right, axes)!, panel.Left - (LetterPixels / 2), middleY, letterHeight, s_ink, Align.Center);
        canvas.Text(right, panel.Left + panel.Width + (LetterPixels / 2), middleY, letterHeight, s_ink, Align.Center);
        canvas.Text(up, middleX, panel.Top - 9, letterHeight, s_ink, Align.Center);
        canvas.Text(Letter(-view.Up, axes)!, middleX, panel.Top + panel.Height + 9 + letterHeight, letterHeight, s_ink, Align.Center);
    }

    private static void DrawCaption(Canvas canvas, PreviewPanel panel, int top, PictureAxes axes)
    {
        var view = panel.Frame.View;
        var middle = panel.Left + (panel.Width / 2);
        canvas.Text(Caption(view, axes), middle, top + 20, TextPixels, s_faint, Align.Center);
        if (ViewDirection.Letter(view.Right) is null)
            DrawTripod(canvas, view, middle, top + CaptionPixels + 56, axes);
    }

    /// <summary>Arrows to the patient's left, front and head, or along the machine's axes, below a view that no single letter fits.</summary>
    private static void DrawTripod(Canvas canvas, ViewDirection view, int x, int y, PictureAxes axes)
    {
        foreach (var direction in (ReadOnlySpan<Vec3>)[new(1, 0, 0), new(0, -1, 0), new(0, 0, 1)])
        {
            var letter = Letter(direction, axes)!;
            double dx = Vec3.Dot(direction, view.Right), dy = -Vec3.Dot(direction, view.Up);
            canvas.Line(x, y, x + (int)Math.Round(TripodArm * dx), y + (int)Math.Round(TripodArm * dy), s_ink, 2);
            // The letter stands clear of the arrow's end, however much the arrow is foreshortened.
            var length = Math.Sqrt((dx * dx) + (dy * dy));
            int letterX = x + (int)Math.Round((TripodArm * dx) + (14 * dx / length)), letterY = y + (int)Math.Round((TripodArm * dy) + (12 * dy / length));
            canvas.Text(letter, letterX, letterY + 7, 14, s_ink, Align.Center);
        }
    }

    private static void DrawFooter(Canvas canvas, int top, double pixelsPerMm, Legend legend)
    {
        ScaleBar.Draw(canvas, MarginPixels, top + 20, pixelsPerMm, canvas.Width / 5.0, s_ink);
        legend.Draw(canvas, MarginPixels, top + RowPixels + 20, RowPixels, s_ink);
        canvas.Text(SafetyLine.Text, MarginPixels, canvas.Height - 16, TextPixels, s_warning);
    }

    private static string SizeText(Box3 bounds)
    {
        var size = bounds.Size;
        return FormattableString.Invariant($"Size {size.X:0.0} x {size.Y:0.0} x {size.Z:0.0} mm");
    }
}
