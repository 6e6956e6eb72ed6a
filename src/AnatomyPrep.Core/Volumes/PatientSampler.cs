using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Core.Volumes;

/// <summary>HU at any position in the patient, trilinear between the eight samples around it.</summary>
/// <remarks>
/// The inverse of the volume's own map: between two slices it is affine, so one inverse affine per pair of slices is kept.
/// Tilt and uneven slices are therefore exact; only the value between samples is interpolated. A sample stands for half a
/// step around it: up to there beyond the outermost samples the nearest value is given, further out none.
/// </remarks>
public sealed unsafe class PatientSampler
{
    private readonly Volume _volume;
    private readonly Vec3 _normal;
    private readonly double[] _depths;
    private readonly Affine3[] _toIndex;

    public PatientSampler(Volume volume)
    {
        _volume = volume;
        var map = volume.Map;
        _normal = map.Normal;
        _depths = new double[map.Slices];
        for (var k = 0; k < map.Slices; k++)
            _depths[k] = Vec3.Dot(_normal, map.SliceOriginsMm[k]);
        _toIndex = new Affine3[Math.Max(1, map.Slices - 1)];
        for (var k = 0; k < _toIndex.Length; k++)
            _toIndex[k] = new Affine3(map.ColumnStepMm, map.RowStepMm, map.SliceStepMm(k), map.SliceOriginsMm[k]).Inverse();
    }

    /// <summary>False outside the volume.</summary>
    public bool TrySample(Vec3 pointMm, out double hu)
    {
        var k = Interval(Vec3.Dot(_normal, pointMm));
        var index = _toIndex[k].Map(pointMm);
        double i = index.X, j = index.Y, s = index.Z + k;
        hu = 0;
        if (!(i >= -0.5 && i <= _volume.Columns - 0.5 && j >= -0.5 && j <= _volume.Rows - 0.5 && s >= -0.5 && s <= _volume.Slices - 0.5))
            return false;
        hu = Interpolate(i, j, s);
        return true;
    }

    private double Interpolate(double i, double j, double k)
    {
        var (i0, i1, x) = Neighbours(i, _volume.Columns);
        var (j0, j1, y) = Neighbours(j, _volume.Rows);
        var (k0, k1, z) = Neighbours(k, _volume.Slices);
        long slice = (long)_volume.Columns * _volume.Rows;
        short* near = _volume.Samples + (k0 * slice), far = _volume.Samples + (k1 * slice);
        long top = (long)j0 * _volume.Columns, bottom = (long)j1 * _volume.Columns;
        var a = Between(Between(near[top + i0], near[top + i1], x), Between(near[bottom + i0], near[bottom + i1], x), y);
        var b = Between(Between(far[top + i0], far[top + i1], x), Between(far[bottom + i0], far[bottom + i1], x), y);
        return Between(a, b, z);
    }

    private static (int Low, int High, double Share) Neighbours(double at, int count)
    {
        at = Math.Clamp(at, 0, count - 1);
        var low = (int)at;
        return (low, Math.Min(low + 1, count - 1), at - low);
    }

    private static double Between(double a, double b, double share) => a + ((b - a) * share);

    private int Interval(double depth)
    {
        int low = 0, high = _toIndex.Length - 1;
        while (low < high)
        {
            var middle = (low + high + 1) / 2;
            if (_depths[middle] <= depth)
                low = middle;
            else
                high = middle - 1;
        }

        return low;
    }
}
