using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Imaging.Pictures;
using AnatomyPrep.Meshing.Prepare;

namespace AnatomyPrep.App.Pipeline;

/// <summary>A search for an orientation, and the model as it came in.</summary>
internal sealed record LaidModel(Mesh Given, OrientModelResult Search, PrintProfile Profile);

/// <summary>The chosen orientation beside the worst that was tried, each with the room of its support.</summary>
internal static class OrientationPicture
{
    public const string Name = "orientation.png";

    private const double PillarsAcross = 70;

    // Orange, sky blue and two greys that differ in brightness (Okabe-Ito, as the other pictures).
    private static readonly Rgb s_chosen = new(222, 224, 227);
    private static readonly Rgb s_worst = new(150, 154, 160);
    private static readonly Rgb s_touched = new(230, 159, 0);
    private static readonly Rgb s_room = new(86, 180, 233);

    public static ModelPicture Write(LaidModel laid, string folder, RunContext run)
    {
        var worst = laid.Search.Tried.MaxBy(o => o.Score)!;
        var (left, leftClasses) = Standing(laid, laid.Search.Chosen, 0, run);
        var (right, rightClasses) = Standing(laid, worst, 1, run);
        // Side by side as they are seen, so that neither stands before the other.
        var across = ViewDirection.Oblique.Right;
        var (a, b) = (Extent(left, across), Extent(right, across));
        var gap = 0.08 * Math.Max(a.To - a.From, b.To - b.From);
        var shifted = new Mesh(right.OriginMm + (across * (a.To - b.From + gap)), right.PositionArray, right.TriangleArray, right.OriginArray).Rebased(Vec3.Zero);
        var colours = new TriangleColours([.. leftClasses, .. rightClasses],
        [
            (Words("left: chosen", laid.Search.Chosen), s_chosen),
            (Words("right: worst tried", worst), s_worst),
            ("touched by support", s_touched),
            ("room of the support", s_room),
        ]);
        var options = PreviewOptions.Default with { Colours = colours, Axes = PictureAxes.Machine, Views = [ViewDirection.Oblique], HeightPixels = 620 };
        PreviewPicture.Write(MeshJoin.Join([left, shifted]), Path.Combine(folder, Name), options, run);
        return new(Name, FormattableString.Invariant($"The chosen orientation of {laid.Search.Tried.Count} tried (left) beside the worst (right), with what its support touches and the room the support stands in"), true);
    }

    private static (double From, double To) Extent(Mesh mesh, Vec3 direction)
    {
        var (from, to) = (double.PositiveInfinity, double.NegativeInfinity);
        for (var v = 0; v < mesh.VertexCount; v++)
        {
            var at = Vec3.Dot(mesh.Vertex(v), direction);
            (from, to) = (Math.Min(from, at), Math.Max(to, at));
        }

        return (from, to);
    }

    private static string Words(string what, Orientation o) => FormattableString.Invariant($"{what}, {o.SupportMm3 / 1000:0.0} cm3 below {o.ContactMm2 / 100:0} cm2");

    /// <summary>The model on the bed with its support, about zero, and the class of each triangle.</summary>
    private static (Mesh Mesh, byte[] Classes) Standing(LaidModel laid, Orientation lies, byte model, RunContext run)
    {
        var profile = laid.Profile;
        var mesh = Lay.Apply(laid.Given, new(profile, lies.Up), run).Result.Mesh.Rebased(Vec3.Zero);
        var over = SupportNeed.Overhanging(mesh, new(0, 0, 1), profile.OverhangLimitDeg, run);
        var pillars = SupportPillars.Of(mesh, profile.OverhangLimitDeg, mesh.BoundsMm().Diagonal / PillarsAcross, run);
        return (MeshJoin.Join([mesh, pillars]), [.. over.Select(o => o ? (byte)2 : model), .. Enumerable.Repeat((byte)3, pillars.TriangleCount)]);
    }
}
