using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Imaging.Pictures;
using AnatomyPrep.Meshing.Prepare;

namespace AnatomyPrep.App.Pipeline;

/// <summary>A checked model and what was found, for pictures.</summary>
/// <param name="Axes">Of the machine once the model was laid.</param>
internal sealed record CheckedPrint(Mesh Mesh, PrintReport Report, PrintMaps Maps, PrintProfile Profile, PictureAxes Axes);

/// <summary>The maps of a print check as pictures: colours with words and millimetres, told apart with any common form of colour blindness.</summary>
internal static class PrintPictures
{
    public const string Wall = "wall.png";
    public const string Gap = "gap.png";
    public const string Overhang = "overhang.png";
    public const string Layers = "layers.png";
    public const string LayerPreview = "layer-preview.png";

    // Vermilion, orange, sky blue, blue and grey of the Okabe-Ito palette, made for colour blindness ("Color Universal Design", 2008; from memory).
    private static readonly Rgb s_worst = new(213, 94, 0);
    private static readonly Rgb s_bad = new(230, 159, 0);
    private static readonly Rgb s_fair = new(86, 180, 233);
    private static readonly Rgb s_good = new(0, 114, 178);
    private static readonly Rgb s_plain = new(214, 216, 219);
    private static readonly Rgb s_bed = new(60, 60, 66);

    public static IReadOnlyList<ModelPicture> Write(CheckedPrint print, string folder, RunContext run)
    {
        var (mesh, report, maps, profile, axes) = print;
        LayerSheet.Write(mesh, Path.Combine(folder, LayerPreview), profile.LayerHeightMm, run);
        Draw(mesh, Lengths(mesh, maps.WallMm, report.Walls.LimitMm, "wall"), Wall, axes, folder, run);
        Draw(mesh, Lengths(mesh, maps.GapMm, report.Gaps.LimitMm, "gap"), Gap, axes, folder, run);
        Draw(mesh, Overhangs(maps), Overhang, axes, folder, run, [ViewDirection.Front, ViewDirection.Below, ViewDirection.Oblique]);
        Draw(mesh, LayersOf(print), Layers, axes, folder, run);
        return
        [
            new(Wall, FormattableString.Invariant($"Wall thickness, largest inscribed sphere; {report.Profile} needs {report.Walls.LimitMm} mm"), true),
            new(Gap, FormattableString.Invariant($"Gaps, largest sphere between two surfaces; {report.Profile} needs {report.Gaps.LimitMm} mm"), true),
            new(Overhang, "What needs support as the model lies, and what of it no straight tool reaches", true),
            new(Layers, FormattableString.Invariant($"Layers from the bed up, {report.Estimate.Layers} of them, and where a layer begins in the air"), true),
            new(LayerPreview, "Twelve layers from the first to the last, as the machine lays them, without what the slicing program adds", true),
        ];
    }

    private static void Draw(Mesh mesh, TriangleColours colours, string name, PictureAxes axes, string folder, RunContext run, IReadOnlyList<ViewDirection>? views = null) =>
        PreviewPicture.Write(mesh, Path.Combine(folder, name), PreviewOptions.Default with { Colours = colours, Axes = axes, Views = views ?? PreviewOptions.Default.Views }, run);

    /// <summary>Each triangle by its smallest corner, against a limit.</summary>
    private static TriangleColours Lengths(Mesh mesh, float[] vertexMm, double limitMm, string what)
    {
        double[] steps = [limitMm / 2, limitMm, 2 * limitMm, 4 * limitMm];
        var classes = new byte[mesh.TriangleCount];
        for (var t = 0; t < classes.Length; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            var least = Math.Min(vertexMm[a], Math.Min(vertexMm[b], vertexMm[c]));
            var n = 0;
            while (n < steps.Length && least >= steps[n])
                n++;
            classes[t] = (byte)n;
        }

        return new(classes,
        [
            (FormattableString.Invariant($"{what} below {steps[0]:0.##} mm"), s_worst),
            (FormattableString.Invariant($"below {steps[1]:0.##} mm, the limit"), s_bad),
            (FormattableString.Invariant($"to {steps[2]:0.##} mm"), s_fair),
            (FormattableString.Invariant($"to {steps[3]:0.##} mm"), s_good),
            ("more", s_plain),
        ]);
    }

    private static TriangleColours Overhangs(PrintMaps maps) => new(
        Array.ConvertAll(maps.Overhang, o => (byte)o),
        [
            ("no support", s_plain), ("support, can be reached", s_fair), ("support, out of reach", s_worst), ("on the bed", s_bed),
            .. maps.Overhang.Contains(OverhangClass.LongBridge) ? [("bridge too long", s_bad)] : Array.Empty<(string, Rgb)>(),
        ]);

    private static TriangleColours LayersOf(CheckedPrint print)
    {
        var (mesh, report, _, profile, _) = print;
        const int Bands = 4;
        var bottom = mesh.BoundsMm().Min.Z;
        var band = Math.Max(1e-9, report.Lies.HeightMm / Bands);
        var near = Math.Max(1.5, report.Lies.HeightMm / 100);
        var islands = report.Islands.Select(i => i.AtMm).ToArray();
        var classes = new byte[mesh.TriangleCount];
        for (var t = 0; t < classes.Length; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            var middle = (mesh.Vertex(a) + mesh.Vertex(b) + mesh.Vertex(c)) / 3;
            classes[t] = Array.Exists(islands, i => Vec3.Distance(i, middle) < near)
                ? (byte)Bands
                : (byte)Math.Clamp((int)((middle.Z - bottom) / band), 0, Bands - 1);
        }

        Rgb[] greys = [new(70, 84, 110), new(118, 132, 156), new(166, 178, 196), new(214, 220, 228)];
        return new(classes,
        [
            .. greys.Select((g, i) => (FormattableString.Invariant($"to layer {Math.Ceiling((i + 1) * band / profile.LayerHeightMm):F0} ({(i + 1) * band:F0} mm)"), g)),
            ("begins in the air", s_worst),
        ]);
    }
}
