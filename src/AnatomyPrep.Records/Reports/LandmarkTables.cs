using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Records.Reports;

/// <summary>The part of a report that says what named points, distances and angles are on images and model.</summary>
internal static class LandmarkTables
{
    private static readonly float[] s_measureWidths = [0.27f, 0.13f, 0.13f, 0.13f, 0.13f, 0.21f];
    private static readonly float[] s_pointWidths = [0.22f, 0.29f, 0.29f, 0.2f];

    public static void Write(ReportPages pages, LandmarkMeasurements landmarks)
    {
        pages.Section($"Landmarks ({landmarks.Points.Count}), distances and angles");
        if (landmarks.Distances.Count + landmarks.Angles.Count > 0)
        {
            pages.Table(["Measured", "On images", "On model", "Difference", "U (k = 2)", "u: columns, rows, slices"], s_measureWidths, [.. landmarks.Distances.Select(d => Row(pages, d)), .. landmarks.Angles.Select(a => Row(pages, a))]);
            pages.Space(4);
        }

        pages.Table(["Point", "On images (mm)", "On model (mm)", "Apart"], s_pointWidths, landmarks.Points.Select(p => Row(pages, p)));
        pages.Space(4);
        if (landmarks.Handedness is { } hand)
            pages.Paragraph(
                $"{string.Join(", ", hand.Points)} stand {(hand.Mirrored ? "the OTHER way round on the model: it is a MIRROR IMAGE." : "the same way round on the model: it is no mirror image.")}",
                hand.Mirrored ? pages.Alarm : pages.Body);
        pages.Paragraph(
            "Both surfaces where the images are, so true size whatever the scale. A point is the surface's nearest to where it was put. "
            + "U is the expanded uncertainty of the figure on the images (GUM, JCGM 100:2008): half a step of columns, rows and slices to both sides at each point, evenly distributed"
            + (landmarks.SliceThicknessMm is { } thick ? $"; slices count with their thickness of {ReportText.Number(thick, 3)} mm where that is more than their step" : "; the thickness of the slices is not known, their step counts")
            + $". That a person may put a point elsewhere is not in it. A difference over {ReportText.Number(landmarks.ToleranceMm, 2)} mm and U is a finding.",
            pages.Small);
    }

    private static IReadOnlyList<Cell> Row(ReportPages pages, LandmarkDistance d) =>
        Row(pages, $"{d.From} to {d.To}", " mm", [d.SourceMm, d.ModelMm, d.DifferenceMm, d.ExpandedMm], [d.ColumnsMm, d.RowsMm, d.SlicesMm]);

    private static IReadOnlyList<Cell> Row(ReportPages pages, LandmarkAngle a) =>
        Row(pages, $"{a.From}, {a.At}, {a.To}", "°", [a.SourceDeg, a.ModelDeg, a.DifferenceDeg, a.ExpandedDeg], [a.ColumnsDeg, a.RowsDeg, a.SlicesDeg]);

    private static IReadOnlyList<Cell> Row(ReportPages pages, string name, string unit, double[] figures, double[] budget) =>
    [
        new Cell(name, pages.Strong),
        .. figures.Select(f => new Cell($"{Fixed(f, 2)}{unit}", pages.Body)),
        new Cell($"{string.Join(", ", budget.Select(b => Fixed(b, 3)))}{unit}", pages.Body),
    ];

    private static IReadOnlyList<Cell> Row(ReportPages pages, LandmarkPoint p) =>
    [
        new Cell(p.Name, pages.Strong),
        new Cell(Point(p.SourceMm, p.SourceOffMm), pages.Body),
        new Cell(Point(p.ModelMm, p.ModelOffMm), pages.Body),
        new Cell(p is { SourceMm: { } source, ModelMm: { } model } ? $"{Fixed(Vec3.Distance(source, model), 2)} mm" : "-", pages.Body),
    ];

    private static string Point(Vec3? at, double offMm) =>
        at is { } p ? $"{Fixed(p.X, 2)}, {Fixed(p.Y, 2)}, {Fixed(p.Z, 2)}" : $"none; nearest {Fixed(offMm, 1)} mm off";

    // The third part keeps what rounds to nothing from being shown as minus nothing.
    private static string Fixed(double value, int decimals)
    {
        var form = "0." + new string('0', decimals);
        return value.ToString($"{form};-{form};{form}", System.Globalization.CultureInfo.InvariantCulture);
    }
}
