using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>Which closed shells lie inside which others.</summary>
/// <remarks>
/// Method: parity of the crossings of a ray along +z (Jordan). A ray that meets an edge or a corner is moved aside by
///   (ε, ε²) symbolically (Edelsbrunner, Mücke, "Simulation of simplicity", ACM TOG 9(1), 1990), so that it meets
///   the interior of triangles only; all sides are told by <see cref="ExactPredicates"/>, so parity is never wrong.
/// A shell counts as inside another when each of its extreme vertices along x, y and z does, so shells that merely
///   overlap do not count. Vertices that lie exactly on the other surface have no say.
/// Cost: a grid over x and y with about as many cells as triangles, O(triangles); six rays a shell, each against the
///   triangles of one cell. Peak about 24 bytes a triangle.
/// </remarks>
internal sealed class ShellNesting
{
    private readonly Mesh _mesh;
    private readonly int[] _triangles;
    private readonly int[] _shell;
    private readonly bool[] _closed;
    private readonly ColumnGrid _grid;

    private ShellNesting(Mesh mesh, int[] triangles, int[] shell, bool[] closed, RunContext run)
    {
        (_mesh, _triangles, _shell, _closed) = (mesh, triangles, shell, closed);
        _grid = ColumnGrid.Build(mesh, triangles, run);
    }

    /// <param name="triangles">Corners, three a triangle; the mesh's own or turned ones.</param>
    /// <param name="shell">Shell of each triangle.</param>
    /// <param name="closed">For each shell; an open one contains nothing.</param>
    /// <returns>For each shell the closed shells around it, ascending.</returns>
    internal static int[][] Containers(Mesh mesh, int[] triangles, int[] shell, bool[] closed, RunContext run)
    {
        var containers = new int[closed.Length][];
        Array.Fill(containers, []);
        if (closed.Length < 2)
            return containers;
        var nesting = new ShellNesting(mesh, triangles, shell, closed, run);
        var samples = nesting.ExtremeVertices();
        Partition.Ranges(run, closed.Length, 256, (_, from, to) =>
        {
            for (var s = from; s < to; s++)
                containers[s] = nesting.Around(s, samples.AsSpan(6 * s, 6));
        });
        return containers;
    }

    private int[] ExtremeVertices()
    {
        var extremes = new int[6 * _closed.Length];
        Array.Fill(extremes, -1);
        for (var h = 0; h < _triangles.Length; h++)
        {
            var v = _triangles[h];
            var of = extremes.AsSpan(6 * _shell[h / 3], 6);
            for (var axis = 0; axis < 3; axis++)
            {
                var x = _mesh.Positions[(3 * v) + axis];
                if (of[axis] < 0 || x < _mesh.Positions[(3 * of[axis]) + axis])
                    of[axis] = v;
                if (of[3 + axis] < 0 || x > _mesh.Positions[(3 * of[3 + axis]) + axis])
                    of[3 + axis] = v;
            }
        }

        return extremes;
    }

    private int[] Around(int shell, ReadOnlySpan<int> samples)
    {
        HashSet<int>? around = null;
        HashSet<int> decided = [];
        foreach (var v in samples)
        {
            var (odd, touched) = OddCrossings(shell, _mesh.Local(v));
            decided.UnionWith(odd);
            odd.UnionWith(touched);
            if (around is null)
                around = odd;
            else
                around.IntersectWith(odd);
            if (around.Count == 0)
                return [];
        }

        around!.IntersectWith(decided);
        return [.. around.Order()];
    }

    /// <summary>Other closed shells that the ray upward from a point crosses an odd number of times, and those the point lies on.</summary>
    private (HashSet<int> Odd, HashSet<int> Touched) OddCrossings(int shell, Vec3 point)
    {
        HashSet<int> odd = [], touched = [];
        foreach (var t in _grid.At(point.X, point.Y))
        {
            var other = _shell[t];
            if (other == shell || !_closed[other])
                continue;
            var (a, b, c) = (_mesh.Local(_triangles[3 * t]), _mesh.Local(_triangles[(3 * t) + 1]), _mesh.Local(_triangles[(3 * t) + 2]));
            var facing = Covers(a, b, c, point);
            if (facing == 0)
                continue;
            var side = ExactPredicates.Orient3D(a, b, c, point);
            if (side == 0)
                touched.Add(other);
            else if (side != facing && !odd.Remove(other))
                odd.Add(other);
        }

        return (odd, touched);
    }

    /// <summary>Sign of the triangle's z normal where its projection covers the point moved by (ε, ε²), else 0.</summary>
    private static int Covers(Vec3 a, Vec3 b, Vec3 c, Vec3 p)
    {
        var ab = Side(a, b, p);
        return ab != 0 && ab == Side(b, c, p) && ab == Side(c, a, p) ? ab : 0;
    }

    private static int Side(Vec3 a, Vec3 b, Vec3 p)
    {
        var side = ExactPredicates.Orient2D(a.X, a.Y, b.X, b.Y, p.X, p.Y);
        if (side != 0)
            return side;
        // d/dε of (b−a)×(p−a) for p moving by (ε, ε²): first −(b.Y−a.Y), then b.X−a.X.
        return a.Y != b.Y ? Math.Sign(a.Y - b.Y) : Math.Sign(b.X - a.X);
    }
}
