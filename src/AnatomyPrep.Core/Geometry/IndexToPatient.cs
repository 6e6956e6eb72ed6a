namespace AnatomyPrep.Core.Geometry;

/// <summary>
/// Where a sample (column i, row j, slice k) lies in the patient: LPS, millimetres.
/// P(i, j, k) = SliceOrigins[k] + i·ColumnStep + j·RowStep, and linear between neighbouring slices for a fractional k.
/// Gantry tilt and uneven slices are carried by the slice origins, so nothing is ever resampled to hide them.
/// </summary>
/// <remarks>Source: DICOM PS3.3 C.7.6.2.1.1, equation C.7.6.2.1-1, one slice at a time.</remarks>
public sealed class IndexToPatient
{
    private readonly Vec3[] _sliceOriginsMm;

    /// <param name="columnStepMm">From one column to the next (along a row): row cosines × the second Pixel Spacing value.</param>
    /// <param name="rowStepMm">From one row to the next: column cosines × the first Pixel Spacing value.</param>
    /// <param name="sliceOriginsMm">Centre of the first sample of every slice, ordered along the slice normal; at least one.</param>
    public IndexToPatient(Vec3 columnStepMm, Vec3 rowStepMm, ReadOnlySpan<Vec3> sliceOriginsMm)
    {
        if (sliceOriginsMm.IsEmpty)
            throw new ArgumentException("At least one slice is needed.", nameof(sliceOriginsMm));
        ColumnStepMm = columnStepMm;
        RowStepMm = rowStepMm;
        _sliceOriginsMm = sliceOriginsMm.ToArray();
        if (Normal.LengthSquared == 0)
            throw new ArgumentException("Column and row steps must not be parallel or zero.", nameof(columnStepMm));
    }

    public Vec3 ColumnStepMm { get; }

    public Vec3 RowStepMm { get; }

    public ReadOnlySpan<Vec3> SliceOriginsMm => _sliceOriginsMm;

    public int Slices => _sliceOriginsMm.Length;

    /// <summary>Unit normal of the slices: column direction × row direction.</summary>
    public Vec3 Normal => Vec3.Cross(ColumnStepMm, RowStepMm).Normalized();

    /// <summary>Step from slice k to k+1; the last step repeats beyond the end. A single slice steps 1 mm along the normal.</summary>
    public Vec3 SliceStepMm(int k)
    {
        if (Slices == 1)
            return Normal;
        k = Math.Clamp(k, 0, Slices - 2);
        return _sliceOriginsMm[k + 1] - _sliceOriginsMm[k];
    }

    /// <summary>Angle in degrees between the slice normal and the line from the first to the last slice origin: the gantry tilt.</summary>
    public double TiltDeg
    {
        get
        {
            if (Slices < 2)
                return 0;
            var run = _sliceOriginsMm[^1] - _sliceOriginsMm[0];
            return Math.Atan2(Vec3.Cross(Normal, run).Length, Vec3.Dot(Normal, run)) * (180 / Math.PI);
        }
    }

    /// <summary>Smallest distance between neighbouring samples along columns, rows and the slice normal.</summary>
    public double FinestSpacingMm
    {
        get
        {
            var finest = Math.Min(ColumnStepMm.Length, RowStepMm.Length);
            var n = Normal;
            for (var k = 0; k + 1 < Slices; k++)
                finest = Math.Min(finest, Math.Abs(Vec3.Dot(n, SliceStepMm(k))));
            return finest;
        }
    }

    /// <summary>True when the map keeps handedness: LPS stays LPS, left stays left.</summary>
    public bool IsRightHanded
    {
        get
        {
            for (var k = 0; k < Math.Max(1, Slices - 1); k++)
                if (Vec3.Dot(Vec3.Cross(ColumnStepMm, RowStepMm), SliceStepMm(k)) <= 0)
                    return false;
            return true;
        }
    }

    public Vec3 Map(double i, double j, double k) => SliceOrigin(k) + (ColumnStepMm * i) + (RowStepMm * j);

    /// <summary>Volume of the cell between slices k and k+1, in mm³.</summary>
    public double CellVolumeMm3(int k) => Math.Abs(Vec3.Dot(Vec3.Cross(ColumnStepMm, RowStepMm), SliceStepMm(k)));

    /// <summary>Volume in mm³ that one sample of slice k stands for: half of the cell on either side, whole at the ends.</summary>
    public double SampleVolumeMm3(int k)
    {
        if (Slices == 1)
            return CellVolumeMm3(0);
        if (k == 0)
            return CellVolumeMm3(0);
        if (k == Slices - 1)
            return CellVolumeMm3(k - 1);
        return (CellVolumeMm3(k - 1) + CellVolumeMm3(k)) / 2;
    }

    /// <summary>Index coordinates of a point; fractional, and outside the volume where the point is.</summary>
    public Vec3 Invert(Vec3 pointMm)
    {
        var n = Normal;
        var depth = Vec3.Dot(n, pointMm);
        var k = FindInterval(n, depth);
        var below = SliceOrigin(k);
        var step = SliceStepMm(k);
        var t = (depth - Vec3.Dot(n, below)) / Vec3.Dot(n, step);
        var inPlane = pointMm - below - (step * t);
        // Solve inPlane = i·C + j·R in the least-squares sense; C and R need not be orthogonal.
        var (c, r) = (ColumnStepMm, RowStepMm);
        double cc = Vec3.Dot(c, c), rr = Vec3.Dot(r, r), cr = Vec3.Dot(c, r);
        double pc = Vec3.Dot(inPlane, c), pr = Vec3.Dot(inPlane, r);
        var det = (cc * rr) - (cr * cr);
        return new(((pc * rr) - (pr * cr)) / det, ((pr * cc) - (pc * cr)) / det, k + t);
    }

    private Vec3 SliceOrigin(double k)
    {
        var whole = (int)Math.Clamp(Math.Floor(k), 0, Math.Max(0, Slices - 2));
        var t = k - whole;
        return t == 0 ? _sliceOriginsMm[whole] : _sliceOriginsMm[whole] + (SliceStepMm(whole) * t);
    }

    private int FindInterval(Vec3 n, double depth)
    {
        int low = 0, high = Math.Max(0, Slices - 2);
        while (low < high)
        {
            var middle = (low + high + 1) / 2;
            if (Vec3.Dot(n, _sliceOriginsMm[middle]) <= depth)
                low = middle;
            else
                high = middle - 1;
        }

        return low;
    }
}
