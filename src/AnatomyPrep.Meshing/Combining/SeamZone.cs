using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Meshing.Repair;

namespace AnatomyPrep.Meshing.Combining;

/// <summary>How far things are from a seam, which is kept as points along its edges, and who lies within its width.</summary>
/// <remarks>Points at least every eighth of the width, so a distance is too large by at most 1/450 of the width where it nears the width.</remarks>
internal sealed class SeamZone
{
    private readonly double _widthMm;
    private readonly Vec3[] _points;
    private readonly Dictionary<(int X, int Y, int Z), List<int>> _cells = [];

    public SeamZone(Mesh mesh, IEnumerable<(int From, int To)> edges, double widthMm)
    {
        _widthMm = widthMm;
        var points = new List<Vec3>();
        foreach (var (from, to) in edges)
        {
            Vec3 a = mesh.Local(from), b = mesh.Local(to);
            var pieces = Math.Max(1, (int)Math.Ceiling(Vec3.Distance(a, b) / (widthMm / 8)));
            for (var i = 0; i <= pieces; i++)
                points.Add(Vec3.Lerp(a, b, (double)i / pieces));
        }

        _points = [.. points];
        for (var i = 0; i < _points.Length; i++)
        {
            var cell = Cell(_points[i]);
            if (!_cells.TryGetValue(cell, out var list))
                _cells.Add(cell, list = []);
            list.Add(i);
        }
    }

    /// <summary>Distance of a point, in the mesh's own frame; infinite beyond the width.</summary>
    public double DistanceMm(Vec3 p)
    {
        var nearest = double.PositiveInfinity;
        foreach (var i in Near(new Box3(p, p)))
            nearest = Math.Min(nearest, Vec3.Distance(p, _points[i]));
        return nearest < _widthMm ? nearest : double.PositiveInfinity;
    }

    /// <summary>Whether any part of a triangle lies within the width.</summary>
    public bool Reaches(Vec3 a, Vec3 b, Vec3 c)
    {
        foreach (var i in Near(Box3.Empty.Including(a).Including(b).Including(c)))
            if (TriangleShape.DistanceMm(_points[i], a, b, c) < _widthMm)
                return true;
        return false;
    }

    private IEnumerable<int> Near(Box3 box)
    {
        var (low, high) = (Cell(box.Min - new Vec3(_widthMm, _widthMm, _widthMm)), Cell(box.Max + new Vec3(_widthMm, _widthMm, _widthMm)));
        if ((high.X - low.X + 1.0) * (high.Y - low.Y + 1.0) * (high.Z - low.Z + 1.0) > _points.Length)
        {
            for (var i = 0; i < _points.Length; i++)
                yield return i;
            yield break;
        }

        for (var x = low.X; x <= high.X; x++)
            for (var y = low.Y; y <= high.Y; y++)
                for (var z = low.Z; z <= high.Z; z++)
                    if (_cells.TryGetValue((x, y, z), out var list))
                        foreach (var i in list)
                            yield return i;
    }

    private (int X, int Y, int Z) Cell(Vec3 p) =>
        ((int)Math.Floor(p.X / _widthMm), (int)Math.Floor(p.Y / _widthMm), (int)Math.Floor(p.Z / _widthMm));
}
