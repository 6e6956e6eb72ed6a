using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>Slices of one orientation in their order along the normal, and where they lie.</summary>
/// <remarks>
/// Order: DICOM PS3.3 C.7.6.2.1.1: by position · normal, normal = row direction × column direction, growing; never by
/// name, Instance Number or Slice Location. Ordered so, the map from index to patient is right-handed whatever the
/// orientation says. Slices at one position are ordered by SOP Instance UID, so that names never matter.
/// </remarks>
internal sealed class StackGeometry
{
    private StackGeometry(IReadOnlyList<SliceSource> slices, Vec3 row, Vec3 column, double inexact)
    {
        (RowDirection, ColumnDirection, Inexactness) = (row, column, inexact);
        Normal = Vec3.Cross(row, column);
        var ordered = slices
            .Select(s => (Slice: s, Depth: Vec3.Dot(Normal, Vector(s.Slice.Position!, 0))))
            .OrderBy(s => s.Depth).ThenBy(s => s.Slice.Facts.SopInstance, StringComparer.Ordinal).ThenBy(s => s.Slice.Frame).ThenBy(s => s.Slice.Name, StringComparer.Ordinal)
            .ToArray();
        Slices = [.. ordered.Select(s => s.Slice)];
        DepthsMm = [.. ordered.Select(s => s.Depth)];
        OriginsMm = [.. Slices.Select(s => Vector(s.Slice.Position!, 0))];
        StepsMm = [.. Enumerable.Range(0, Slices.Count - 1).Select(k => DepthsMm[k + 1] - DepthsMm[k])];
        PixelSpacingMm = Slices[0].Slice.PixelSpacing!;
        Map = new IndexToPatient(row * PixelSpacingMm[1], column * PixelSpacingMm[0], [.. OriginsMm]);
    }

    public IReadOnlyList<SliceSource> Slices { get; }

    public Vec3 RowDirection { get; }

    public Vec3 ColumnDirection { get; }

    public Vec3 Normal { get; }

    /// <summary>How far the written cosines were from unit length and right angle before they were made exact.</summary>
    public double Inexactness { get; }

    public IReadOnlyList<Vec3> OriginsMm { get; }

    /// <summary>Positions along the normal.</summary>
    public IReadOnlyList<double> DepthsMm { get; }

    /// <summary>Between neighbours along the normal.</summary>
    public IReadOnlyList<double> StepsMm { get; }

    /// <summary>Between rows, between columns.</summary>
    public IReadOnlyList<double> PixelSpacingMm { get; }

    public IndexToPatient Map { get; }

    /// <summary>Largest distance of a slice origin from the line through the first and the last one, and its slice.</summary>
    public (double Mm, int Slice) OffLine()
    {
        var worst = (Mm: 0.0, Slice: 0);
        var whole = DepthsMm[^1] - DepthsMm[0];
        for (var k = 1; k + 1 < Slices.Count && whole > 0; k++)
        {
            var onLine = Vec3.Lerp(OriginsMm[0], OriginsMm[^1], (DepthsMm[k] - DepthsMm[0]) / whole);
            var off = Vec3.Distance(onLine, OriginsMm[k]);
            if (off > worst.Mm)
                worst = (off, k);
        }

        return worst;
    }

    public SeriesOrientation Orientation() => SeriesOrientation.Of(Map);

    /// <param name="slices">At least one; position, orientation and pixel spacing are there, cosines are no further off than <see cref="WorstInexactness"/>.</param>
    public static StackGeometry Of(IReadOnlyList<SliceSource> slices)
    {
        var cosines = slices[0].Slice.Orientation!;
        var (row, column) = (Vector(cosines, 0), Vector(cosines, 3));
        var inexact = Deviation(cosines);
        row = row.Normalized();
        column = (column - (row * Vec3.Dot(row, column))).Normalized();
        return new StackGeometry(slices, row, column, inexact);
    }

    /// <summary>Cosines further off than this are no orientation at all.</summary>
    public const double WorstInexactness = 0.01;

    /// <summary>Largest of the two errors of length and the cosine of the angle between.</summary>
    public static double Deviation(double[] cosines)
    {
        var (row, column) = (Vector(cosines, 0), Vector(cosines, 3));
        return Math.Max(Math.Abs(Vec3.Dot(row, column)), Math.Max(Math.Abs(row.Length - 1), Math.Abs(column.Length - 1)));
    }

    /// <summary>Same orientation: no cosine differs by more than 1e-4, which over half a metre is 0.05 mm.</summary>
    public static bool SameOrientation(double[] a, double[] b) => a.Zip(b).All(p => Math.Abs(p.First - p.Second) <= 1e-4);

    private static Vec3 Vector(double[] numbers, int at) => new(numbers[at], numbers[at + 1], numbers[at + 2]);
}
