using AnatomyPrep.Core.Dicom;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Phantoms.Dicom;

namespace AnatomyPrep.Phantoms.Sampling;

/// <summary>
/// An acquisition's geometry as its header says it: every number first cut to the 16 characters of a DICOM decimal
/// string, then used, so that what is sampled lies exactly where a reader is told.
/// </summary>
internal sealed class SliceGeometry
{
    public SliceGeometry(Acquisition acquisition)
    {
        Check(acquisition);
        var (sin, cos) = Math.SinCos(acquisition.GantryTiltDeg * (Math.PI / 180));
        var directions = acquisition.Orientation;
        AlongRow = Quantise(directions.AlongRow);
        AlongColumn = Quantise((directions.AlongColumn * cos) - (directions.Normal * sin));
        ColumnSpacingMm = DecimalString.Quantise(acquisition.ColumnSpacingMm);
        RowSpacingMm = DecimalString.Quantise(acquisition.RowSpacingMm);
        var toFirst = (AlongRow * (ColumnSpacingMm * (acquisition.Columns - 1) / 2)) + (AlongColumn * (RowSpacingMm * (acquisition.Rows - 1) / 2));
        // Along the table is along the normal: the tilt is less than a right angle.
        PositionsMm = [.. acquisition.TablePositionsMm.Order().Select(s => Quantise(acquisition.CenterMm + (directions.Normal * s) - toFirst))];
        Map = new IndexToPatient(AlongRow * ColumnSpacingMm, AlongColumn * RowSpacingMm, PositionsMm);
    }

    public Vec3 AlongRow { get; }

    public Vec3 AlongColumn { get; }

    public double ColumnSpacingMm { get; }

    public double RowSpacingMm { get; }

    /// <summary>Centre of the first sample of every slice, ordered along the slice normal.</summary>
    public Vec3[] PositionsMm { get; }

    public IndexToPatient Map { get; }

    private static Vec3 Quantise(Vec3 v) => new(DecimalString.Quantise(v.X), DecimalString.Quantise(v.Y), DecimalString.Quantise(v.Z));

    private static void Check(Acquisition a)
    {
        if (a.Columns is < 1 or > ushort.MaxValue || a.Rows is < 1 or > ushort.MaxValue || a.TablePositionsMm.Count == 0)
            throw new ArgumentException("Columns and rows are 1 to 65535, and there is at least one slice.", nameof(a));
        if (!(a.ColumnSpacingMm > 0 && a.RowSpacingMm > 0 && a.SliceThicknessMm > 0 && a.NoiseSigmaHu >= 0 && a.SubsamplesPerAxis >= 1))
            throw new ArgumentException("Spacings and thickness are positive, noise is not negative, subsamples are at least 1.", nameof(a));
        if (!(Math.Abs(a.GantryTiltDeg) < 60))
            throw new ArgumentException("The gantry tilts by less than 60 degrees.", nameof(a));
        if (a.TablePositionsMm.Distinct().Count() != a.TablePositionsMm.Count)
            throw new ArgumentException("Every slice has a place of its own; write duplicates through SeriesLayout.", nameof(a));
        var (row, column) = (a.Orientation.AlongRow, a.Orientation.AlongColumn);
        if (Math.Abs(row.Length - 1) > 1e-9 || Math.Abs(column.Length - 1) > 1e-9 || Math.Abs(Vec3.Dot(row, column)) > 1e-9)
            throw new ArgumentException("Row and column direction are unit vectors at a right angle.", nameof(a));
    }
}
