using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Collapses an edge onto one of its ends when that keeps the surface what it was, up to shape.</summary>
/// <remarks>
/// Link condition of Dey, Edelsbrunner, Guha and Nekhayev, "Topology preserving edge contraction" (1999), written for
/// triangle lists: common neighbours of the two ends are exactly the third vertices of the edge's triangles, no triangle
/// would appear twice, and an inner edge does not join two border vertices.
/// </remarks>
internal sealed class EdgeCollapse(EditableMesh mesh)
{
    private readonly List<int> _onEdge = [];
    private readonly List<int> _atGone = [];
    private readonly HashSet<int> _nearKept = [];

    /// <summary>Triangles that were changed by the last successful collapse.</summary>
    public List<int> Touched { get; } = [];

    public bool KeepsTopology(int gone, int kept)
    {
        _onEdge.Clear();
        mesh.FindEdgeTriangles(gone, kept, _onEdge);
        if (_onEdge.Count is 0 or > 2)
            return false;
        if (_onEdge.Count == 2 && mesh.IsOnBorder(gone) && mesh.IsOnBorder(kept))
            return false;
        _nearKept.Clear();
        for (var c = mesh.FirstCorner(kept); c >= 0; c = mesh.NextCorner(c))
        {
            _nearKept.Add(mesh.Corner(EdgeTable.Next(c)));
            _nearKept.Add(mesh.Corner(EdgeTable.Previous(c)));
        }

        foreach (var t in _onEdge)
            _nearKept.Remove(mesh.Apex(t, gone, kept));
        _nearKept.Remove(gone);
        _nearKept.Remove(kept);
        if (_onEdge.Count == 2 && mesh.Apex(_onEdge[0], gone, kept) == mesh.Apex(_onEdge[1], gone, kept))
            return false;

        var others = 0;
        for (var c = mesh.FirstCorner(gone); c >= 0; c = mesh.NextCorner(c))
        {
            int p = mesh.Corner(EdgeTable.Next(c)), q = mesh.Corner(EdgeTable.Previous(c));
            if (p == kept || q == kept)
                continue;
            others++;
            if (_nearKept.Contains(p) || _nearKept.Contains(q) || HasTriangle(kept, p, q))
                return false;
        }

        // A piece that is nothing but the edge's own triangles would vanish.
        return others > 0;
    }

    /// <summary>True when no triangle at <paramref name="gone"/> turns over or becomes lower than it was and than the limit.</summary>
    public bool KeepsShape(int gone, int kept, double limitMm)
    {
        Vec3 from = mesh.Local(gone), to = mesh.Local(kept);
        for (var c = mesh.FirstCorner(gone); c >= 0; c = mesh.NextCorner(c))
        {
            int p = mesh.Corner(EdgeTable.Next(c)), q = mesh.Corner(EdgeTable.Previous(c));
            if (p == kept || q == kept)
                continue;
            Vec3 pp = mesh.Local(p), pq = mesh.Local(q);
            var before = TriangleShape.HeightMm(from, pp, pq);
            var after = TriangleShape.HeightMm(to, pp, pq);
            if (after <= limitMm && after < before)
                return false;
            if (before > limitMm && Vec3.Dot(Vec3.Cross(pp - from, pq - from), Vec3.Cross(pp - to, pq - to)) <= 0)
                return false;
        }

        return true;
    }

    /// <summary>
    /// Bound on how far the surface moves: the length of the edge, or, where less, the largest distance of the vanished vertex
    /// from the new triangles and of the kept vertex from the planes of the old ones, in which the new ones then lie.
    /// </summary>
    public double LossMm(int gone, int kept, double limitMm)
    {
        Vec3 from = mesh.Local(gone), to = mesh.Local(kept);
        var nearest = double.PositiveInfinity;
        double offPlane = 0;
        for (var c = mesh.FirstCorner(gone); c >= 0; c = mesh.NextCorner(c))
        {
            int p = mesh.Corner(EdgeTable.Next(c)), q = mesh.Corner(EdgeTable.Previous(c));
            if (p == kept || q == kept)
                continue;
            Vec3 pp = mesh.Local(p), pq = mesh.Local(q);
            nearest = Math.Min(nearest, TriangleShape.DistanceMm(from, to, pp, pq));
            if (TriangleShape.HeightMm(from, pp, pq) > limitMm)
                offPlane = Math.Max(offPlane, Math.Abs(Vec3.Dot(TriangleShape.Normal(from, pp, pq), to - from)));
        }

        return Math.Min(Vec3.Distance(from, to), Math.Max(nearest, offPlane));
    }

    public void Collapse(int gone, int kept)
    {
        Touched.Clear();
        _atGone.Clear();
        for (var c = mesh.FirstCorner(gone); c >= 0; c = mesh.NextCorner(c))
            _atGone.Add(c / 3);
        foreach (var t in _atGone)
        {
            var (a, b, c) = mesh.Triangle(t);
            if (a == kept || b == kept || c == kept)
            {
                mesh.RemoveTriangle(t);
                continue;
            }

            mesh.SetTriangle(t, a == gone ? kept : a, b == gone ? kept : b, c == gone ? kept : c, mesh.OriginOf(t));
            Touched.Add(t);
        }
    }

    private bool HasTriangle(int a, int b, int c)
    {
        for (var corner = mesh.FirstCorner(a); corner >= 0; corner = mesh.NextCorner(corner))
        {
            int p = mesh.Corner(EdgeTable.Next(corner)), q = mesh.Corner(EdgeTable.Previous(corner));
            if ((p == b && q == c) || (p == c && q == b))
                return true;
        }

        return false;
    }
}
