using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>Points of a surface with the normals and a value there, to be asked for means around a place.</summary>
/// <remarks>
/// Cells as wide as the largest radius asked for; points sorted by cell, so those around a place lie in nine runs of the list.
/// O(n log n) to build, O(points near) to ask; 68 bytes a point.
/// </remarks>
internal sealed class NearPoints
{
    private const int IndexBits = 21;

    private readonly Vec3[] _points;
    private readonly Vec3[] _normals;
    private readonly double[] _values;
    private readonly long[] _cells;
    private readonly Vec3 _min;
    private readonly double _cellMm;
    private readonly long _columns;
    private readonly long _rows;

    public NearPoints(Vec3[] pointsMm, Vec3[] normals, double[] values, double largestRadiusMm)
    {
        _cellMm = largestRadiusMm;
        var box = Box3.Empty;
        foreach (var p in pointsMm)
            box = box.Including(p);
        _min = box.Min;
        // Two cells more on each side, so that a run of three never reaches into the next row.
        _columns = (long)((box.Max.X - box.Min.X) / _cellMm) + 5;
        _rows = (long)((box.Max.Y - box.Min.Y) / _cellMm) + 5;
        var cells = Array.ConvertAll(pointsMm, Cell);
        // Cell and place in the list as one key: cells are not unique, and the order within one decides the last bits of sums.
        var keys = new long[cells.Length];
        for (var i = 0; i < keys.Length; i++)
            keys[i] = (cells[i] << IndexBits) | (uint)i;
        Array.Sort(keys);
        var order = Array.ConvertAll(keys, k => (int)(k & ((1L << IndexBits) - 1)));
        (_points, _normals, _values, _cells) =
            (Array.ConvertAll(order, i => pointsMm[i]), Array.ConvertAll(order, i => normals[i]), Array.ConvertAll(order, i => values[i]), Array.ConvertAll(order, i => cells[i]));
    }

    public int Count => _points.Length;

    public (Vec3 AtMm, Vec3 Normal) this[int i] => (_points[i], _normals[i]);

    /// <summary>Mean normal of the points within a radius that face the same way; zero where there is none.</summary>
    public Vec3 MeanNormal(Vec3 at, Vec3 facing, double radiusMm)
    {
        var sum = Vec3.Zero;
        foreach (var (first, end) in Runs(at))
            for (var i = first; i < end; i++)
                if ((_points[i] - at).LengthSquared <= radiusMm * radiusMm && Vec3.Dot(_normals[i], facing) > 0)
                    sum += _normals[i];
        return sum.Length > 0 ? sum.Normalized() : Vec3.Zero;
    }

    /// <summary>Sums over the points within each radius that face the same way: how many, heights along the normal, values.</summary>
    /// <param name="radiiMm">Ascending, none above the largest said at first.</param>
    /// <param name="sums">One for each radius.</param>
    public void Sum(Vec3 at, Vec3 normal, ReadOnlySpan<double> radiiMm, Span<(int Count, double HeightMm, double Value)> sums)
    {
        sums.Clear();
        foreach (var (first, end) in Runs(at))
        {
            for (var i = first; i < end; i++)
            {
                var by = _points[i] - at;
                if (Vec3.Dot(_normals[i], normal) <= 0)
                    continue;
                for (var r = radiiMm.Length - 1; r >= 0 && by.LengthSquared <= radiiMm[r] * radiiMm[r]; r--)
                    sums[r] = (sums[r].Count + 1, sums[r].HeightMm + Vec3.Dot(by, normal), sums[r].Value + _values[i]);
            }
        }
    }

    private List<(int First, int End)> Runs(Vec3 at)
    {
        var cell = Cell(at);
        var runs = new List<(int, int)>(9);
        for (var z = -1; z <= 1; z++)
        {
            for (var y = -1; y <= 1; y++)
            {
                var row = cell + (((z * _rows) + y) * _columns);
                runs.Add((FirstFrom(row - 1), FirstFrom(row + 2)));
            }
        }

        return runs;
    }

    private long Cell(Vec3 at) =>
        ((((long)Math.Floor((at.Z - _min.Z) / _cellMm) * _rows) + (long)Math.Floor((at.Y - _min.Y) / _cellMm) + 2) * _columns) + (long)Math.Floor((at.X - _min.X) / _cellMm) + 2;

    private int FirstFrom(long cell)
    {
        int low = 0, high = _cells.Length;
        while (low < high)
        {
            var middle = (low + high) >>> 1;
            if (_cells[middle] < cell)
                low = middle + 1;
            else
                high = middle;
        }

        return low;
    }
}
