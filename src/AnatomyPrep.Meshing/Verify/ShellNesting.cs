using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>Which closed shells lie inside which others.</summary>
/// <remarks>
/// Method: parity of the crossings of a ray along +x (Jordan), every decision a sign of exact predicates
///   (<see cref="TriangleTree.CrossedAlongX"/>), so parity is never wrong. Orientation has no say.
/// A shell counts as inside another when each of its extreme vertices along x, y and z does, so shells that merely overlap do not
///   count. Vertices that lie exactly on the other surface have no say; where all six do, the centre of the first triangle decides.
/// Cost: one to seven rays a shell, each O(log triangles + what it crosses). Memory: 24 bytes a shell beside the tree.
/// </remarks>
internal sealed class ShellNesting
{
    private const int Samples = 6;
    private const int PieceShells = 64;

    private readonly TriangleTree _tree;
    private readonly int[] _shell;
    private readonly bool[] _closed;
    private readonly List<int> _found = [];

    private ShellNesting(TriangleTree tree, int[] shell, bool[] closed) => (_tree, _shell, _closed) = (tree, shell, closed);

    /// <param name="shell">Shell of each triangle; −1 for a triangle of none.</param>
    /// <param name="closed">For each shell; an open one contains nothing.</param>
    /// <param name="asked">For each shell whether the answer is wanted; null for all.</param>
    /// <returns>For each shell the closed shells around it, ascending.</returns>
    internal static int[][] Containers(TriangleTree tree, int[] shell, bool[] closed, RunContext run, bool[]? asked = null)
    {
        var containers = new int[closed.Length][];
        Array.Fill(containers, []);
        if (closed.Length < 2 || !closed.Contains(true))
            return containers;
        var (extremes, first) = Extremes(tree.Mesh, shell, closed.Length);
        Partition.Ranges(run, closed.Length, PieceShells, (_, from, to) =>
        {
            var nesting = new ShellNesting(tree, shell, closed);
            for (var s = from; s < to; s++)
                if (first[s] >= 0 && (asked is null || asked[s]))
                    containers[s] = nesting.Around(s, extremes.AsSpan(Samples * s, Samples), first[s]);
        });
        return containers;
    }

    /// <summary>For each shell the vertices farthest along −x, −y, −z, x, y and z, and its first triangle.</summary>
    private static (int[] Extremes, int[] First) Extremes(Mesh mesh, int[] shell, int shells)
    {
        var (extremes, first) = (new int[Samples * shells], new int[shells]);
        Array.Fill(extremes, -1);
        Array.Fill(first, -1);
        for (var h = 0; h < mesh.Triangles.Length; h++)
        {
            if (shell[h / 3] < 0)
                continue;
            if (first[shell[h / 3]] < 0)
                first[shell[h / 3]] = h / 3;
            var v = mesh.Triangles[h];
            var of = extremes.AsSpan(Samples * shell[h / 3], Samples);
            for (var axis = 0; axis < 3; axis++)
            {
                var x = mesh.Positions[(3 * v) + axis];
                if (of[axis] < 0 || x < mesh.Positions[(3 * of[axis]) + axis])
                    of[axis] = v;
                if (of[3 + axis] < 0 || x > mesh.Positions[(3 * of[3 + axis]) + axis])
                    of[3 + axis] = v;
            }
        }

        return (extremes, first);
    }

    private int[] Around(int shell, ReadOnlySpan<int> samples, int firstTriangle)
    {
        HashSet<int>? around = null;
        HashSet<int> decided = [];
        foreach (var v in samples)
        {
            var point = _tree.Mesh.Local(v);
            var (odd, touched) = (OddCrossings(shell, point), Touched(shell, point));
            odd.ExceptWith(touched);
            decided.UnionWith(odd);
            odd.UnionWith(touched);
            if (around is null)
                around = odd;
            else
                around.IntersectWith(odd);
            if (around.Count == 0)
                return [];
        }

        if (!around!.IsSubsetOf(decided))
        {
            var (a, b, c) = _tree.Mesh.Triangle(firstTriangle);
            decided.UnionWith(OddCrossings(shell, (_tree.Mesh.Local(a) + _tree.Mesh.Local(b) + _tree.Mesh.Local(c)) / 3));
            around.IntersectWith(decided);
        }

        return [.. around.Order()];
    }

    /// <summary>Other closed shells that the ray from a point crosses an odd number of times.</summary>
    private HashSet<int> OddCrossings(int shell, in Vec3 point)
    {
        HashSet<int> odd = [];
        _tree.CrossedAlongX(point, _found);
        foreach (var t in _found)
            if (IsOther(t, shell) && !odd.Remove(_shell[t]))
                odd.Add(_shell[t]);
        return odd;
    }

    /// <summary>Other closed shells that a point lies on.</summary>
    private HashSet<int> Touched(int shell, in Vec3 point)
    {
        HashSet<int> touched = [];
        _found.Clear();
        _tree.TrianglesNearLocal(point, point, _found);
        foreach (var t in _found)
        {
            if (!IsOther(t, shell))
                continue;
            var (a, b, c) = _tree.Mesh.Triangle(t);
            if (TriangleTriangle.Contains(_tree.Mesh.Local(a), _tree.Mesh.Local(b), _tree.Mesh.Local(c), point))
                touched.Add(_shell[t]);
        }

        return touched;
    }

    private bool IsOther(int triangle, int shell) => _shell[triangle] >= 0 && _shell[triangle] != shell && _closed[_shell[triangle]];
}
