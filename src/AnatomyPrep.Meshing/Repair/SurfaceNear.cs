using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Finds triangles in boxes that are expected to lie in few places of the surface.</summary>
/// <remarks>
/// A tree over all triangles costs more than a few small holes; so cells of a coarse grid that the expected boxes touch are
/// marked, and the tree holds only triangles whose boxes touch a marked cell. A box that reaches beyond the marked cells gets the
/// tree over all, made once. The same triangles are found either way.
/// Boxes are relative to the mesh's origin. O(triangles) to build, 32 kB for the grid.
/// </remarks>
internal sealed class SurfaceNear
{
    private const int Cells = 64;
    private const int Block = 1 << 14;

    private readonly Mesh _mesh;
    private readonly Vec3 _corner;
    private readonly double _perMm;
    private readonly bool[] _marked = new bool[Cells * Cells * Cells];
    private readonly int[] _triangles;
    private readonly TriangleTree _near;
    private readonly Lazy<TriangleTree> _all;

    private SurfaceNear(Mesh mesh, IEnumerable<Box3> expected, RunContext run)
    {
        _mesh = mesh;
        var bounds = mesh.BoundsMm();
        _corner = bounds.IsEmpty ? Vec3.Zero : bounds.Min - mesh.OriginMm;
        var side = Math.Max(bounds.Size.X, Math.Max(bounds.Size.Y, bounds.Size.Z));
        _perMm = side > 0 ? Cells / side : 0;
        foreach (var box in expected)
            ForCells(box, cell => _marked[cell] = true);
        _triangles = FindTriangles(run);
        var corners = new int[3 * _triangles.Length];
        for (var i = 0; i < _triangles.Length; i++)
            mesh.Triangles.Slice(3 * _triangles[i], 3).CopyTo(corners.AsSpan(3 * i));
        _near = TriangleTree.Build(new(mesh.OriginMm, mesh.PositionArray, corners), run);
        _all = new(() => TriangleTree.Build(mesh, run));
    }

    /// <summary>Expects patches that leave the bounds of their rims by no more than a tenth of the bounds' diagonal.</summary>
    public static SurfaceNear Rims(Mesh mesh, IEnumerable<IReadOnlyList<int>> rims, RunContext run) => new(
        mesh,
        rims.Select(rim =>
        {
            var box = rim.Aggregate(Box3.Empty, (b, v) => b.Including(mesh.Local(v)));
            return box.Grown(box.Diagonal / 10);
        }),
        run);

    /// <summary>Triangles whose boxes meet the given one, each once; safe to call side by side.</summary>
    public void Find(Box3 box, List<int> triangles)
    {
        var covered = true;
        ForCells(box, cell => covered &= _marked[cell]);
        if (!covered)
        {
            _all.Value.TrianglesNearLocal(box.Min, box.Max, triangles);
            return;
        }

        var first = triangles.Count;
        _near.TrianglesNearLocal(box.Min, box.Max, triangles);
        for (var i = first; i < triangles.Count; i++)
            triangles[i] = _triangles[triangles[i]];
    }

    private int[] FindTriangles(RunContext run)
    {
        var pieces = new List<int>[Partition.Pieces(_mesh.TriangleCount, Block)];
        Partition.Ranges(run, _mesh.TriangleCount, Block, (piece, from, to) =>
        {
            var found = pieces[piece] = [];
            for (var t = from; t < to; t++)
                if (TouchesMarked(t))
                    found.Add(t);
        });
        return [.. pieces.SelectMany(p => p)];
    }

    private bool TouchesMarked(int t)
    {
        var (a, b, c) = _mesh.Triangle(t);
        Vec3 pa = _mesh.Local(a), pb = _mesh.Local(b), pc = _mesh.Local(c);
        var (x0, y0, z0) = Cell(Vec3.Min(Vec3.Min(pa, pb), pc));
        var (x1, y1, z1) = Cell(Vec3.Max(Vec3.Max(pa, pb), pc));
        for (var z = z0; z <= z1; z++)
            for (var y = y0; y <= y1; y++)
                if (_marked.AsSpan(Number(x0, y, z), x1 - x0 + 1).Contains(true))
                    return true;
        return false;
    }

    private void ForCells(Box3 box, Action<int> visit)
    {
        if (box.IsEmpty)
            return;
        var (x0, y0, z0) = Cell(box.Min);
        var (x1, y1, z1) = Cell(box.Max);
        for (var z = z0; z <= z1; z++)
            for (var y = y0; y <= y1; y++)
                for (var x = x0; x <= x1; x++)
                    visit(Number(x, y, z));
    }

    // Clamped, and so the outermost cells reach outward without end: order along an axis is kept, and that is all that is needed.
    private (int X, int Y, int Z) Cell(Vec3 p) =>
        (Clamped((p.X - _corner.X) * _perMm), Clamped((p.Y - _corner.Y) * _perMm), Clamped((p.Z - _corner.Z) * _perMm));

    private static int Clamped(double cell) => (int)Math.Clamp(cell, 0, Cells - 1);

    private static int Number(int x, int y, int z) => (((z * Cells) + y) * Cells) + x;
}
