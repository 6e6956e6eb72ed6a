using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Combining;
using AnatomyPrep.Meshing.Shape;

namespace AnatomyPrep.Meshing.Marking;

/// <param name="HeightMm">Of a capital, from the middle of its lowest stroke to the middle of its highest.</param>
/// <param name="ReliefMm">How far the letters stand out, or lie below, at least.</param>
/// <param name="Sunk">Below the surface instead of above it.</param>
/// <param name="StrokeMm">Thickness of the strokes; null means a sixth of the height.</param>
/// <param name="PlaceMm">The text's middle goes to the surface point nearest to it; null finds the flattest place.</param>
/// <param name="Up">Where the top of the letters points, as far as the surface lets it; null means towards the head.</param>
/// <param name="MaxUnevenMm">The surface below the text may rise and fall by this much in all.</param>
public sealed record MarkTextParameters(
    string Text,
    double HeightMm = 6,
    double ReliefMm = 0.8,
    bool Sunk = false,
    double? StrokeMm = null,
    Vec3? PlaceMm = null,
    Vec3? Up = null,
    double MaxUnevenMm = 2);

/// <summary>Raises one line of text from the surface of a solid, or sinks it in.</summary>
/// <remarks>
/// Letters: <see cref="Glyphs"/>, drawn with a round pen. Where: <see cref="TextSpots"/>. The letters' faces are flat and parallel to the
/// place's mean plane: raised ones end ReliefMm above the highest surface below the text, sunk ones ReliefMm below the lowest.
/// Seen from outside the text reads from left to right, never mirrored: its axes are right-handed with z towards the reader.
/// Letters have origin added.
/// Measures: textWidthMm, unevenMm, letters, and those of a combination.
/// </remarks>
public static class MarkText
{
    private const string Step = "mark-text";
    private const int LongestText = 60;
    private const int SidesPerEnd = 8;

    // Left below sunk letters so that they do not break through.
    private const double LeastFloorMm = 0.8;

    /// <exception cref="PlanException">No text, a character that is not known, or a size out of range.</exception>
    /// <exception cref="CheckFailedException">No solid, no place flat enough, or a wall too thin to sink letters in; nothing has changed.</exception>
    public static ShapeResult Apply(Mesh mesh, MarkTextParameters parameters, RunContext run)
    {
        Require(parameters);
        run.Report(Step, "check", 0);
        var before = SolidCheck.Require(Step, "the model", mesh, run);
        run.Report(Step, "place", 0.3);
        var unit = parameters.HeightMm / Glyphs.CapHeight;
        var pen = parameters.StrokeMm ?? unit;
        var (strokes, width) = Glyphs.Write(parameters.Text);
        var widthMm = (width * unit) + pen;
        var spot = Spot(mesh, parameters, widthMm, parameters.HeightMm + pen, run);
        run.Report(Step, "letters", 0.6);
        var letters = Letters(mesh, parameters, strokes, width, spot, run);
        var operation = parameters.Sunk ? BooleanOperation.Difference : BooleanOperation.Union;
        var marked = SolidEdit.Apply(Step, operation, mesh, [letters], run);
        var effect = SolidEdit.Effect(
            before, marked, ("letters", parameters.Text.Count(c => c != ' ')), ("textWidthMm", widthMm), ("unevenMm", spot.UnevenMm));
        return new(marked.Mesh, effect, [Marked(parameters, spot), .. SolidEdit.SettledFinding(marked)]);
    }

    private static TextSpot Spot(Mesh mesh, MarkTextParameters parameters, double widthMm, double heightMm, RunContext run)
    {
        var up = Placement.Direction(Step, "up", parameters.Up ?? new Vec3(0, 0, 1));
        var spots = new TextSpots(mesh, widthMm, heightMm, up, run);
        var found = parameters.PlaceMm is { } place ? spots.At(place) : spots.Flattest();
        var wanted = FormattableString.Invariant($"an outer surface of {widthMm:F1} x {heightMm:F1} mm, uneven by at most {parameters.MaxUnevenMm} mm");
        if (found is not { } spot)
            throw new CheckFailedException(Step, wanted, parameters.PlaceMm is null ? "none; make the text smaller or shorter" : "none at this place; choose another, or make the text smaller");
        if (spot.UnevenMm > parameters.MaxUnevenMm)
            throw new CheckFailedException(Step, wanted, FormattableString.Invariant($"{spot.UnevenMm:F2} mm at the best place; make the text smaller or shorter, or raise maxUnevenMm"));
        if (parameters.Sunk && spot.ThinMm < parameters.ReliefMm + spot.UnevenMm + LeastFloorMm)
            throw new CheckFailedException(
                Step,
                FormattableString.Invariant($"a wall of {parameters.ReliefMm + spot.UnevenMm + LeastFloorMm:F2} mm to sink the text in"),
                FormattableString.Invariant($"{spot.ThinMm:F2} mm; raise the text instead, or choose another place"));
        return spot;
    }

    private static Mesh Letters(Mesh mesh, MarkTextParameters p, List<(double X, double Y)[]> strokes, double width, TextSpot spot, RunContext run)
    {
        var unit = p.HeightMm / Glyphs.CapHeight;
        // Raised: from well inside the lowest surface to the relief above the highest. Sunk: from the relief below the lowest to above all.
        var overlap = Math.Min(0.5, p.ReliefMm);
        var (from, to) = p.Sunk ? (spot.LowMm - p.ReliefMm, spot.HighMm + overlap) : (spot.LowMm - overlap, spot.HighMm + p.ReliefMm);
        using var engine = SolidEngine.Start(mesh.OriginMm, run);
        var inMm = strokes.ConvertAll(s => Array.ConvertAll(s, q => ((q.X - (width / 2)) * unit, (q.Y - (Glyphs.CapHeight / 2)) * unit)));
        var flat = engine.Strokes(inMm, (p.StrokeMm ?? unit) / 2, to - from, SidesPerEnd, Origin.Added);
        var foot = spot.CenterMm + (spot.Z * from) - mesh.OriginMm;
        var positions = new float[3 * flat.VertexCount];
        for (var v = 0; v < flat.VertexCount; v++)
        {
            var q = flat.Local(v);
            var at = foot + (spot.X * q.X) + (spot.Y * q.Y) + (spot.Z * q.Z);
            (positions[3 * v], positions[(3 * v) + 1], positions[(3 * v) + 2]) = ((float)at.X, (float)at.Y, (float)at.Z);
        }

        return new(mesh.OriginMm, positions, flat.TriangleArray, flat.OriginArray);
    }

    private static void Require(MarkTextParameters p)
    {
        if (string.IsNullOrWhiteSpace(p.Text) || p.Text.Length > LongestText)
            throw new PlanException(Step, null, "text", $"{p.Text.Length} characters", $"1 to {LongestText} characters, not only spaces");
        if (Glyphs.FirstUnknown(p.Text) is { } unknown)
            throw new PlanException(Step, null, "text", $"{unknown}", $"these characters: {Glyphs.Known}");
        foreach (var (name, value) in (ReadOnlySpan<(string, double)>)[
            ("heightMm", p.HeightMm), ("reliefMm", p.ReliefMm), ("strokeMm", p.StrokeMm ?? 1), ("maxUnevenMm", p.MaxUnevenMm)])
            if (!(value > 0) || !double.IsFinite(value))
                throw new PlanException(Step, null, name, Placement.Text(value), "a number above 0");
        if (p.StrokeMm > p.HeightMm / 3)
            throw new PlanException(Step, null, "strokeMm", Placement.Text(p.StrokeMm.Value), "at most a third of heightMm, or letters fill up");
        if (p.PlaceMm is { } place)
            Placement.RequireFinite(Step, "placeMm", place);
    }

    private static Finding Marked(MarkTextParameters p, TextSpot spot) => new(
        FindingCodes.TextMarked,
        Severity.Note,
        FormattableString.Invariant($"Text was {(p.Sunk ? "sunk into" : "raised from")} the surface, which is uneven there by {spot.UnevenMm:F2} mm."),
        "Check on the preview that it is where it should be and spoils no surface that matters.",
        new Place(PositionMm: spot.CenterMm));
}
