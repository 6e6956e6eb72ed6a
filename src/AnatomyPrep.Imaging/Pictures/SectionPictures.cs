using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Imaging.Pictures;

/// <summary>One written picture; <paramref name="Name"/> is relative to the folder it was written to, with forward slashes.</summary>
public sealed record SectionFile(string Name, SectionPlane Plane, double PositionMm);

/// <summary>The model's outline over the source slices: three patient planes, three positions each.</summary>
/// <remarks>
/// Planes are exact LPS planes through 1/4, 1/2 and 3/4 of the model's extent. The outline is the exact section of the
/// mesh; the grey values behind it are interpolated at the position in the patient of every pixel, so a tilted, oblique or
/// uneven volume is resampled for the picture only. Both go through one frame of square pixels (docs/methods/pictures.md).
/// Same bytes on any number of threads: a picture is a piece. Peak memory: about 8 bytes a pixel of each picture at work.
/// </remarks>
public static class SectionPictures
{
    private const string Step = "sections";
    private const string Folder = "sections";
    private const int Positions = 3;

    private const int MarginPixels = 44;
    private const int HeaderPixels = 84;
    private const int RowPixels = 34;
    private const int TextPixels = 13;
    private const int NarrowestPixels = 760;

    private static readonly Rgb s_paper = new(14, 17, 20);
    private static readonly Rgb s_outside = new(48, 56, 70);
    private static readonly Rgb s_ink = new(236, 238, 240);
    private static readonly Rgb s_faint = new(158, 166, 174);
    private static readonly Rgb s_warning = new(255, 190, 92);

    /// <summary>Writes sections/axial-1.png … sagittal-3.png under <paramref name="folder"/>; numbers grow with the coordinate.</summary>
    /// <exception cref="CheckFailedException">The mesh has no triangles or a position that is not finite.</exception>
    /// <exception cref="OperationCanceledException">Asked for every row of every picture.</exception>
    public static IReadOnlyList<SectionFile> Write(Mesh mesh, Volume volume, string folder, SectionOptions options, RunContext run) =>
        Write([new(mesh)], volume, folder, options, run);

    /// <summary>The same with the outlines of several meshes in each picture; planes go by the extent of all.</summary>
    /// <exception cref="CheckFailedException">A mesh has no triangles or a position that is not finite.</exception>
    /// <exception cref="OperationCanceledException">Asked for every row of every picture.</exception>
    public static IReadOnlyList<SectionFile> Write(IReadOnlyList<OutlinedMesh> meshes, Volume volume, string folder, SectionOptions options, RunContext run)
    {
        RequireUsable(options);
        var bounds = Bounds(meshes);
        return Write(meshes, volume, folder, SectionPlane.All.Count * Positions, options, run, n =>
        {
            var plane = SectionPlane.All[n / Positions];
            var number = (n % Positions) + 1;
            var axis = plane.Axis;
            return new(Invariant($"{Folder}/{plane.Name}-{number}.png"), plane, bounds.Min[axis] + ((bounds.Max[axis] - bounds.Min[axis]) * number / (Positions + 1)));
        });
    }

    /// <summary>Writes sections/WORD-axial.png, -coronal and -sagittal: the three planes through one place.</summary>
    /// <param name="word">Beginning of the files' names.</param>
    /// <exception cref="CheckFailedException">A mesh has no triangles or a position that is not finite.</exception>
    /// <exception cref="OperationCanceledException">Asked for every row of every picture.</exception>
    public static IReadOnlyList<SectionFile> WriteAt(IReadOnlyList<OutlinedMesh> meshes, Volume volume, Vec3 placeMm, string word, string folder, SectionOptions options, RunContext run)
    {
        RequireUsable(options);
        Bounds(meshes);
        return Write(meshes, volume, folder, SectionPlane.All.Count, options, run, n =>
        {
            var plane = SectionPlane.All[n];
            return new($"{Folder}/{word}-{plane.Name}.png", plane, placeMm[plane.Axis]);
        });
    }

    private static SectionFile[] Write(IReadOnlyList<OutlinedMesh> meshes, Volume volume, string folder, int count, SectionOptions options, RunContext run, Func<int, SectionFile> which)
    {
        Directory.CreateDirectory(Path.Combine(folder, Folder));
        var files = new SectionFile[count];
        var done = 0;
        Partition.For(run, count, n =>
        {
            var file = files[n] = which(n);
            using (var picture = Draw(meshes, volume, file.Plane, file.PositionMm, options, new RunContext(threads: 1, cancellation: run.Cancellation)))
                picture.Canvas.SavePng(Path.Combine(folder, Folder, Path.GetFileName(file.Name)));
            run.Report(Step, "drawing sections", Interlocked.Increment(ref done) / (double)count);
        });
        return files;
    }

    /// <summary>One picture: header, section in its frame with orientation letters, footer with scale bar, legend and warning.</summary>
    internal static SectionPicture Draw(Mesh mesh, Volume volume, SectionPlane plane, double positionMm, SectionOptions options, RunContext run) =>
        Draw([new(mesh)], volume, plane, positionMm, options, run);

    private static SectionPicture Draw(IReadOnlyList<OutlinedMesh> meshes, Volume volume, SectionPlane plane, double positionMm, SectionOptions options, RunContext run)
    {
        RequireUsable(options);
        var frame = SectionFrame.Around(Bounds(meshes), plane, positionMm, options.MarginMm, options.LongSidePixels);
        var curves = meshes.Select(m => SectionCurves.Cut(m.Mesh, plane.Axis, positionMm, run)).ToArray();
        var width = Math.Max(NarrowestPixels, frame.Width + (2 * MarginPixels));
        var hu = Sample(volume, frame, run);
        var legend = new Legend(LegendEntries(meshes, hu), width - (2 * MarginPixels));
        var canvas = new Canvas(width, HeaderPixels + frame.Height + (2 * MarginPixels) + (RowPixels * (legend.Rows + 2)), s_paper);
        try
        {
            int left = (width - frame.Width) / 2, top = HeaderPixels + MarginPixels;
            DrawGrey(canvas, left, top, hu, frame, options.Window);
            // The first on top: where two touch, the wall is that of the first.
            for (var m = curves.Length - 1; m >= 0; m--)
                DrawOutline(canvas, left, top, curves[m], meshes[m].Colour, frame, options.OutlinePixels);
            DrawHeader(canvas, frame, options.Window);
            DrawLetters(canvas, left, top, frame);
            DrawFooter(canvas, top + frame.Height + MarginPixels, frame, legend, curves.All(c => c.Count == 0));
            return new SectionPicture(canvas, frame, left, top, [.. curves.SelectMany(c => c)]);
        }
        catch
        {
            canvas.Dispose();
            throw;
        }
    }

    private static void RequireUsable(SectionOptions options)
    {
        if (options.LongSidePixels is < 100 or > 4000)
            throw new ArgumentOutOfRangeException(nameof(options), options.LongSidePixels, "The longer side has 100 to 4000 pixels.");
        if (!(options.MarginMm >= 0 && double.IsFinite(options.MarginMm)))
            throw new ArgumentOutOfRangeException(nameof(options), options.MarginMm, "The margin is 0 mm or more.");
        if (!(options.OutlinePixels > 0 && options.OutlinePixels <= 20))
            throw new ArgumentOutOfRangeException(nameof(options), options.OutlinePixels, "An outline is above 0 and at most 20 pixels wide.");
    }

    /// <summary>HU at the centre of every pixel, row by row; not a number outside the images.</summary>
    internal static float[] Sample(Volume volume, SectionFrame frame, RunContext run)
    {
        var sampler = new PatientSampler(volume);
        var hu = new float[frame.Width * frame.Height];
        Partition.For(run, frame.Height, y =>
        {
            for (var x = 0; x < frame.Width; x++)
                hu[(y * frame.Width) + x] = sampler.TrySample(frame.ToPatient(x + 0.5, y + 0.5), out var value) ? (float)value : float.NaN;
        });
        return hu;
    }

    private static Box3 Bounds(IReadOnlyList<OutlinedMesh> meshes)
    {
        var boxes = meshes.Select(m => PictureBounds.Of(m.Mesh)).ToArray();
        return new(
            new(boxes.Min(b => b.Min.X), boxes.Min(b => b.Min.Y), boxes.Min(b => b.Min.Z)),
            new(boxes.Max(b => b.Max.X), boxes.Max(b => b.Max.Y), boxes.Max(b => b.Max.Z)));
    }

    private static IEnumerable<(string Word, Rgb Colour)> LegendEntries(IReadOnlyList<OutlinedMesh> meshes, float[] hu)
    {
        var entries = meshes.SelectMany(m => m.Colour is { } colour ? [(m.Word ?? "", colour)] : OriginPalette.Entries(m.Mesh, OriginPalette.Outline));
        return hu.AsSpan().ContainsAnyExceptInRange(short.MinValue, short.MaxValue) ? entries.Append(("outside the images", s_outside)) : entries;
    }

    private static void DrawGrey(Canvas canvas, int left, int top, float[] hu, SectionFrame frame, GreyWindow window)
    {
        for (var y = 0; y < frame.Height; y++)
        {
            for (var x = 0; x < frame.Width; x++)
            {
                var value = hu[(y * frame.Width) + x];
                var grey = float.IsNaN(value) ? (byte)0 : window.Grey(value);
                canvas.Put(left + x, top + y, float.IsNaN(value) ? s_outside : new Rgb(grey, grey, grey));
            }
        }
    }

    /// <remarks>What was not measured is drawn half as wide again, so that a filled place is not overlooked.</remarks>
    private static void DrawOutline(Canvas canvas, int left, int top, IReadOnlyList<SectionCurve> curves, Rgb? colour, SectionFrame frame, double widthPixels)
    {
        var pen = new OutlinePen(frame.Width, frame.Height);
        // A dark seam on both sides keeps the line apart from white bone and from black air alike.
        foreach (var origin in Enum.GetValues<Origin>())
            Stroke(origin, Width(origin) + 1.6);
        pen.Ink(canvas, left, top, new Rgb(0, 0, 0), 150);
        foreach (var origin in Enum.GetValues<Origin>())
        {
            Stroke(origin, Width(origin));
            pen.Ink(canvas, left, top, colour ?? OriginPalette.Outline(origin), 255);
        }

        double Width(Origin origin) => origin == Origin.Measured ? widthPixels : widthPixels * 1.5;

        void Stroke(Origin origin, double pixels)
        {
            foreach (var curve in curves)
            {
                for (var n = 0; n < curve.SegmentOrigins.Count; n++)
                {
                    if (curve.SegmentOrigins[n] != origin)
                        continue;
                    var (x0, y0) = frame.ToPicture(curve.PointsMm[n]);
                    var (x1, y1) = frame.ToPicture(curve.PointsMm[(n + 1) % curve.PointsMm.Count]);
                    pen.Segment(x0, y0, x1, y1, pixels);
                }
            }
        }
    }

    private static void DrawHeader(Canvas canvas, SectionFrame frame, GreyWindow window)
    {
        var plane = frame.Plane;
        var axis = "xyz"[plane.Axis];
        var name = char.ToUpperInvariant(plane.Name[0]) + plane.Name[1..];
        canvas.Text(Invariant($"{name} section at {axis} = {frame.PositionMm:0.0} mm"), MarginPixels, 40, 20, s_ink);
        canvas.Text(Invariant($"Seen {plane.View.Description}. Grey: {window.Name}, {window.CenterHu:0} HU +/- {window.WidthHu / 2:0}"), MarginPixels, 70, TextPixels, s_faint);
    }

    private static void DrawLetters(Canvas canvas, int left, int top, SectionFrame frame)
    {
        const int Height = 22;
        Vec3 right = frame.Plane.View.Right, up = frame.Plane.View.Up;
        int middleX = left + (frame.Width / 2), middleY = top + (frame.Height / 2) + (Height / 2);
        canvas.Text(ViewDirection.Letter(-right)!, left - (MarginPixels / 2), middleY, Height, s_ink, Align.Center);
        canvas.Text(ViewDirection.Letter(right)!, left + frame.Width + (MarginPixels / 2), middleY, Height, s_ink, Align.Center);
        canvas.Text(ViewDirection.Letter(up)!, middleX, top - 10, Height, s_ink, Align.Center);
        canvas.Text(ViewDirection.Letter(-up)!, middleX, top + frame.Height + 10 + Height, Height, s_ink, Align.Center);
    }

    private static void DrawFooter(Canvas canvas, int top, SectionFrame frame, Legend legend, bool empty)
    {
        ScaleBar.Draw(canvas, MarginPixels, top + 20, 1 / frame.MmPerPixel, Math.Min(frame.Width, canvas.Width / 3), s_ink);
        legend.Draw(canvas, MarginPixels, top + RowPixels + 20, RowPixels, s_ink);
        canvas.Text(SafetyLine.Text, MarginPixels, canvas.Height - 16, TextPixels, s_warning);
        if (empty)
            canvas.Text("No outline in this plane", canvas.Width - MarginPixels, canvas.Height - 16, TextPixels, s_warning, Align.Right);
    }

    private static string Invariant(FormattableString text) => FormattableString.Invariant(text);
}
