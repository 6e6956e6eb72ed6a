using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Finds what triangles meet in a mesh that is being edited: a tree over the source, a grid over what has changed since.</summary>
internal sealed class ContactIndex
{
    private const int MostCells = 64;

    private readonly EditableMesh _mesh;
    private readonly TriangleTree _tree;
    private readonly double _cellMm;
    private readonly HashSet<int> _changed = [];
    private readonly Dictionary<(int X, int Y, int Z), List<int>> _cells = [];

    // Triangles too large for the grid.
    private readonly List<int> _large = [];

    public ContactIndex(EditableMesh mesh, TriangleTree tree)
    {
        _mesh = mesh;
        _tree = tree;
        var area = 0.0;
        for (var t = 0; t < mesh.TriangleCount; t++)
            area += mesh.AreaMm2(t);
        // Twice the edge of an equilateral triangle of the mean area, nearly.
        _cellMm = Math.Max(3 * Math.Sqrt(area / Math.Max(1, mesh.TriangleCount)), 1e-9 * tree.Mesh.BoundsMm().Diagonal);
    }

    public bool HasChanged(int t) => _changed.Contains(t);

    /// <summary>Tells that a triangle is new or has moved.</summary>
    public void Add(int t)
    {
        _changed.Add(t);
        var (low, high) = Cells(Box(t));
        if (Count(low, high) > MostCells)
        {
            _large.Add(t);
            return;
        }

        for (var x = low.X; x <= high.X; x++)
            for (var y = low.Y; y <= high.Y; y++)
                for (var z = low.Z; z <= high.Z; z++)
                    CellAt((x, y, z)).Add(t);
    }

    /// <returns>Pairs (own, other): own triangle of the replacement, and a triangle of the mesh that stays or ~i for its own triangle i &gt; own.</returns>
    public List<(int Own, int Other)> FindContacts(Replacement what, RunContext run)
    {
        var gone = what.Removed.ToHashSet();
        var contacts = new List<(int, int)>();
        var near = new List<int>();
        var seen = new HashSet<int>();
        var own = CornersOf(what);
        var boxes = Array.ConvertAll(own, t => t.Bounds);
        for (var i = 0; i < boxes.Length; i++)
        {
            if ((i & 0xFF) == 0)
                run.ThrowIfCancelled();
            near.Clear();
            seen.Clear();
            FindNear(boxes[i], near);
            foreach (var t in near)
            {
                if (gone.Contains(t) || !seen.Add(t))
                    continue;
                if (CornerContact.Meet(own[i], Corners(t)))
                    contacts.Add((i, t));
            }

            for (var j = i + 1; j < boxes.Length; j++)
                if (boxes[i].Overlaps(boxes[j]) && CornerContact.Meet(own[i], own[j]))
                    contacts.Add((i, ~j));
        }

        return contacts;
    }

    private void FindNear(Box3 box, List<int> near)
    {
        var origin = _tree.Mesh.OriginMm;
        _tree.TrianglesNear(new Box3(box.Min + origin, box.Max + origin), near);
        near.RemoveAll(t => !_mesh.IsAlive(t) || _changed.Contains(t));
        var (low, high) = Cells(box);
        if (Count(low, high) > MostCells * MostCells)
        {
            near.AddRange(_changed.Where(t => _mesh.IsAlive(t) && Box(t).Overlaps(box)).Order());
            return;
        }

        for (var x = low.X; x <= high.X; x++)
            for (var y = low.Y; y <= high.Y; y++)
                for (var z = low.Z; z <= high.Z; z++)
                    if (_cells.TryGetValue((x, y, z), out var cell))
                        near.AddRange(cell.Where(t => _mesh.IsAlive(t) && Box(t).Overlaps(box)));
        near.AddRange(_large.Where(t => _mesh.IsAlive(t) && Box(t).Overlaps(box)));
    }

    private List<int> CellAt((int, int, int) cell) => _cells.TryGetValue(cell, out var list) ? list : _cells[cell] = [];

    private ((int X, int Y, int Z) Low, (int X, int Y, int Z) High) Cells(Box3 box) => (Cell(box.Min), Cell(box.Max));

    private (int X, int Y, int Z) Cell(Vec3 p) => ((int)Math.Floor(p.X / _cellMm), (int)Math.Floor(p.Y / _cellMm), (int)Math.Floor(p.Z / _cellMm));

    private static long Count((int X, int Y, int Z) low, (int X, int Y, int Z) high) =>
        (high.X - low.X + 1L) * (high.Y - low.Y + 1L) * (high.Z - low.Z + 1L);

    private Box3 Box(int t) => Corners(t).Bounds;

    private Corners Corners(int t)
    {
        var (a, b, c) = _mesh.Triangle(t);
        return new(a, b, c, _mesh.Local(a), _mesh.Local(b), _mesh.Local(c));
    }

    private Corners[] CornersOf(Replacement what)
    {
        var moved = new Dictionary<int, Vec3>();
        for (var i = 0; i < what.MovedVertices.Length; i++)
            moved[what.MovedVertices[i]] = what.Points[i];
        Vec3 At(int v) => v < 0 ? what.Points[~v] : moved.TryGetValue(v, out var p) ? p : _mesh.Local(v);
        return Array.ConvertAll(what.Triangles, t => new Corners(t.A, t.B, t.C, At(t.A), At(t.B), At(t.C)));
    }
}
