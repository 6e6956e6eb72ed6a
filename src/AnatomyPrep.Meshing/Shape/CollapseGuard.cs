using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>Refuses collapses near guarded vertices after which triangles would meet or leave the input's surroundings.</summary>
/// <remarks>
/// The new triangles around a collapsed edge are held, exactly, against each other and against every triangle that stands for a part
/// of the input near them: the input's triangles in the box of the new ones, grown by its own size, are looked up in the input's
/// tree, their corners followed to the vertices they went into, and the triangles there taken. A triangle that has drifted farther
/// than that from where it came from is missed; the check of the whole result finds it.
/// Where a distance is stated, the new triangles must be proven to lie within it of the input.
/// Cost: 20 to 100 µs a collapse, so only places that were at fault without it are guarded.
/// </remarks>
/// <param name="localOf">For each vertex of the input the number, in the pass, of the vertex it went into before the pass.</param>
/// <param name="guarded">By number in the pass; grows as vertices merge.</param>
/// <param name="bound">Null where no distance is stated.</param>
internal sealed class CollapseGuard(TriangleTree input, HausdorffBound? bound, int[] localOf, bool[] guarded)
{
    private readonly int[] _into = [.. Enumerable.Range(0, guarded.Length)];
    private readonly List<(Vec3 A, Vec3 B, Vec3 C, int U, int V)> _star = [];
    private readonly List<int> _near = [];
    private readonly HashSet<int> _vertices = [];
    private readonly HashSet<int> _triangles = [];
    private readonly HashSet<int> _own = [];

    internal bool Concerns(int v) => guarded[v];

    internal void Merge(int removed, int kept)
    {
        _into[removed] = kept;
        guarded[kept] |= guarded[removed];
    }

    /// <param name="ofU">Corners at u, as those at v; v goes into u at the given place.</param>
    internal bool Allows(EdgeCollapser pass, int u, int v, ReadOnlySpan<int> ofU, ReadOnlySpan<int> ofV, Vec3 place)
    {
        _star.Clear();
        _own.Clear();
        Gather(pass, ofU, v, place);
        Gather(pass, ofV, u, place);
        return StarIsFlatEnough(place) && (bound is null || StarIsNear()) && MeetsNothing(pass, place);
    }

    /// <summary>The triangles that stay, each turned so that the new place comes first.</summary>
    private void Gather(EdgeCollapser pass, ReadOnlySpan<int> ring, int other, Vec3 place)
    {
        foreach (var corner in ring)
        {
            _own.Add(corner / 3);
            var (b, c) = pass.Others(corner);
            if (b != other && c != other)
                _star.Add((place, pass.Local(b), pass.Local(c), b, c));
        }
    }

    /// <summary>No two of the new triangles meet beyond what they share.</summary>
    private bool StarIsFlatEnough(Vec3 place)
    {
        for (var i = 0; i < _star.Count; i++)
            for (var j = 0; j < i; j++)
            {
                var (f, s) = (_star[i], _star[j]);
                var contact = f.V == s.U ? TriangleTriangle.ClassifySharingEdge(place, f.C, f.B, s.C)
                    : f.U == s.V ? TriangleTriangle.ClassifySharingEdge(place, f.B, f.C, s.B)
                    : TriangleTriangle.ClassifySharingCorner(place, f.B, f.C, s.B, s.C);
                if (contact != Contact.None)
                    return false;
            }

        return true;
    }

    private bool StarIsNear()
    {
        foreach (var (a, b, c, _, _) in _star)
            if (!bound!.Within(a, b, c))
                return false;
        return true;
    }

    private bool MeetsNothing(EdgeCollapser pass, Vec3 place)
    {
        var box = Box3.Empty.Including(place);
        foreach (var (_, b, c, _, _) in _star)
            box = box.Including(b).Including(c);
        CollectNear(pass, box.Grown(box.Diagonal / 2));
        foreach (var t in _triangles)
        {
            if (_own.Contains(t))
                continue;
            var (i, j, k) = pass.Corners(t);
            Vec3 p = pass.Local(i), q = pass.Local(j), r = pass.Local(k);
            if (!box.Overlaps(new(Vec3.Min(p, Vec3.Min(q, r)), Vec3.Max(p, Vec3.Max(q, r)))))
                continue;
            foreach (var (_, b, c, u, v) in _star)
                if (Meet(place, b, c, u, v, (p, q, r), (i, j, k)))
                    return false;
        }

        return true;
    }

    private void CollectNear(EdgeCollapser pass, Box3 box)
    {
        _near.Clear();
        _vertices.Clear();
        _triangles.Clear();
        input.TrianglesNearLocal(box.Min, box.Max, _near);
        foreach (var t in _near)
            for (var h = 3 * t; h < (3 * t) + 3; h++)
            {
                var root = Root(localOf[input.Mesh.Triangles[h]]);
                if (_vertices.Add(root))
                    pass.AddTrianglesAt(root, _triangles);
            }
    }

    private int Root(int v)
    {
        while (_into[v] != v)
            v = _into[v] = _into[_into[v]];
        return v;
    }

    /// <summary>A triangle of the star, place–b–c, and one outside of it, which may share b, c or both.</summary>
    private static bool Meet(in Vec3 place, in Vec3 b, in Vec3 c, int u, int v, (Vec3 P, Vec3 Q, Vec3 R) other, (int I, int J, int K) names)
    {
        var (p, q, r) = other;
        var (i, j, k) = names;
        for (var turn = 0; turn < 3; turn++)
        {
            // The edge b–c from the other side: v first, then u.
            if (i == v && j == u)
                return TriangleTriangle.ClassifySharingEdge(b, c, place, r) != Contact.None;
            (p, q, r, i, j, k) = (q, r, p, j, k, i);
        }

        for (var turn = 0; turn < 3; turn++)
        {
            if (i == u)
                return TriangleTriangle.ClassifySharingCorner(b, c, place, q, r) != Contact.None;
            if (i == v)
                return TriangleTriangle.ClassifySharingCorner(c, place, b, q, r) != Contact.None;
            (p, q, r, i, j, k) = (q, r, p, j, k, i);
        }

        return TriangleTriangle.Classify(place, b, c, p, q, r) != Contact.None;
    }
}
