using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>Triangles by the cells of a grid over x and y that their bounds touch.</summary>
/// <remarks>About one cell a triangle; counting sort; O(triangles + entries). A triangle that is large against the cells
/// has many entries, so cells are at least a quarter of the mean triangle's extent.</remarks>
internal sealed class ColumnGrid
{
    private readonly double _x0;
    private readonly double _y0;
    private readonly double _cell;
    private readonly int _columns;
    private readonly int _rows;
    private readonly int[] _start;
    private readonly int[] _entries;

    private ColumnGrid(double x0, double y0, double cell, int columns, int rows, int[] start, int[] entries)
    {
        (_x0, _y0, _cell, _columns, _rows, _start, _entries) = (x0, y0, cell, columns, rows, start, entries);
    }

    internal static ColumnGrid Build(Mesh mesh, int[] triangles, RunContext run)
    {
        var bounds = mesh.BoundsMm();
        var (low, size) = (bounds.Min - mesh.OriginMm, bounds.Size);
        var count = triangles.Length / 3;
        var cell = Math.Sqrt(size.X * size.Y / Math.Max(1, count));
        double extent = 0;
        for (var t = 0; t < count; t++)
        {
            var (x0, y0, x1, y1) = Bounds(mesh, triangles, t);
            extent += Math.Max(x1 - x0, y1 - y0);
        }

        cell = Math.Max(cell, extent / Math.Max(1, count) / 4);
        cell = Math.Max(cell, Math.Max(size.X, size.Y) / 8192);
        if (!(cell > 0))
            cell = 1;
        var (columns, rows) = ((int)(size.X / cell) + 1, (int)(size.Y / cell) + 1);
        var grid = new ColumnGrid(low.X, low.Y, cell, columns, rows, new int[(columns * rows) + 1], []);
        return grid.Fill(mesh, triangles, run);
    }

    /// <summary>Triangles whose bounds may cover a point.</summary>
    internal ReadOnlySpan<int> At(double x, double y)
    {
        var cell = (Row(y) * _columns) + Column(x);
        return _entries.AsSpan(_start[cell], _start[cell + 1] - _start[cell]);
    }

    private ColumnGrid Fill(Mesh mesh, int[] triangles, RunContext run)
    {
        Visit(mesh, triangles, run, (_, cell) => _start[cell + 1]++);
        for (var i = 1; i < _start.Length; i++)
            _start[i] += _start[i - 1];
        var entries = new int[_start[^1]];
        var next = _start.AsSpan(0, _start.Length - 1).ToArray();
        Visit(mesh, triangles, run, (t, cell) => entries[next[cell]++] = t);
        return new(_x0, _y0, _cell, _columns, _rows, _start, entries);
    }

    private void Visit(Mesh mesh, int[] triangles, RunContext run, Action<int, int> visit)
    {
        for (var t = 0; t < triangles.Length / 3; t++)
        {
            if ((t & 0xFFFF) == 0)
                run.ThrowIfCancelled();
            var (x0, y0, x1, y1) = Bounds(mesh, triangles, t);
            for (int row = Row(y0), last = Row(y1); row <= last; row++)
                for (int column = Column(x0), end = Column(x1); column <= end; column++)
                    visit(t, (row * _columns) + column);
        }
    }

    private int Column(double x) => Math.Clamp((int)((x - _x0) / _cell), 0, _columns - 1);

    private int Row(double y) => Math.Clamp((int)((y - _y0) / _cell), 0, _rows - 1);

    private static (double X0, double Y0, double X1, double Y1) Bounds(Mesh mesh, int[] triangles, int t)
    {
        var (a, b, c) = (mesh.Local(triangles[3 * t]), mesh.Local(triangles[(3 * t) + 1]), mesh.Local(triangles[(3 * t) + 2]));
        return (
            Math.Min(a.X, Math.Min(b.X, c.X)),
            Math.Min(a.Y, Math.Min(b.Y, c.Y)),
            Math.Max(a.X, Math.Max(b.X, c.X)),
            Math.Max(a.Y, Math.Max(b.Y, c.Y)));
    }
}
