using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>The local edits of <see cref="RemoveDegenerates"/>, worked off first come, first served.</summary>
internal sealed class DegenerateEditor(EditableMesh mesh, double limitMm)
{
    private readonly EdgeCollapse _collapse = new(mesh);
    private readonly Queue<int> _queue = new();
    private readonly HashSet<int> _queued = [];
    private readonly HashSet<int> _failed = [];
    private readonly List<int> _onEdge = [];
    private bool _mayLeaveSlits;

    public EditableMesh Mesh { get; } = mesh;

    public DistanceTally Displacement { get; private set; }

    public int Edits { get; private set; }

    public void Run(List<int> suspects, RunContext run)
    {
        DropRepeats(suspects);
        foreach (var t in suspects)
            if (Mesh.IsAlive(t))
                Enqueue(t);
        // An edit may make way for one that failed before; the passes end because each one but the last edits something.
        while (true)
        {
            var before = Edits;
            WorkOff(run);
            if (Edits == before && _mayLeaveSlits)
                break;
            _mayLeaveSlits = Edits == before;
            foreach (var t in FindLeft())
                Enqueue(t);
        }

        DropWhollyDegeneratePieces();
    }

    /// <summary>Degenerate triangles that no edit could remove, ascending.</summary>
    public List<int> FindLeft() => [.. _failed.Where(t => Mesh.IsAlive(t) && IsDegenerate(t)).Order()];

    // First of all, for the other edits count on three different corners; none of them makes such a triangle.
    private void DropRepeats(List<int> suspects)
    {
        foreach (var t in suspects)
        {
            var (a, b, c) = Mesh.Triangle(t);
            if (a != b && b != c && c != a)
                continue;
            Mesh.RemoveTriangle(t);
            Edits++;
        }
    }

    private void WorkOff(RunContext run)
    {
        for (var done = 0; _queue.TryDequeue(out var t); done++)
        {
            if ((done & 0x3FF) == 0)
                run.ThrowIfCancelled();
            _queued.Remove(t);
            if (!Mesh.IsAlive(t) || !IsDegenerate(t))
                continue;
            if (Resolve(t))
                Edits++;
            else
                _failed.Add(t);
        }
    }

    private bool Resolve(int t)
    {
        var (a, b, c) = Mesh.Triangle(t);
        // Corner i lies between edge i (to corner i + 1) and edge i - 1.
        int[] v = [a, b, c];
        double[] length = [Length(a, b), Length(b, c), Length(c, a)];
        var shortest = IndexOf(length, length.Min());
        var longest = IndexOf(length, length.Max());
        if (length[shortest] <= limitMm && CollapseEitherWay(v[shortest], v[(shortest + 1) % 3]))
            return true;
        var apex = v[(longest + 2) % 3];
        return Flip(t, v[longest], v[(longest + 1) % 3], apex)
            || DropAtBorder(t, longest)
            || CollapseApex(apex, v[longest], v[(longest + 1) % 3]);
    }

    private bool CollapseEitherWay(int u, int v)
    {
        // The border keeps its vertices; otherwise the earlier vertex stays.
        var uStays = Mesh.IsOnBorder(u) == Mesh.IsOnBorder(v) ? u < v : Mesh.IsOnBorder(u);
        var (kept, gone) = uStays ? (u, v) : (v, u);
        return TryCollapse(gone, kept) || TryCollapse(kept, gone);
    }

    private bool CollapseApex(int apex, int u, int v)
    {
        if (Mesh.IsOnBorder(apex))
            return false;
        var (near, far) = Length(apex, u) <= Length(apex, v) ? (u, v) : (v, u);
        return TryCollapse(apex, near) || TryCollapse(apex, far);
    }

    private bool TryCollapse(int gone, int kept)
    {
        if (!_collapse.KeepsTopology(gone, kept) || !_collapse.KeepsShape(gone, kept, limitMm))
            return false;
        var lossMm = _collapse.LossMm(gone, kept, limitMm);
        if (lossMm > limitMm)
            return false;
        _collapse.Collapse(gone, kept);
        Displacement = Displacement.With(lossMm);
        foreach (var t in _collapse.Touched)
            Enqueue(t);
        return true;
    }

    /// <summary>Turns the edge u-v of triangle t round to join the two apexes.</summary>
    private bool Flip(int t, int u, int v, int apex)
    {
        _onEdge.Clear();
        Mesh.FindEdgeTriangles(u, v, _onEdge);
        if (_onEdge.Count != 2)
            return false;
        var other = _onEdge[0] == t ? _onEdge[1] : _onEdge[0];
        var far = Mesh.Apex(other, u, v);
        if (far == apex || far == u || far == v || Mesh.CountEdgeTriangles(apex, far) > 0 || !RunsAlong(other, v, u))
            return false;
        Vec3 pu = Mesh.Local(u), pv = Mesh.Local(v), pa = Mesh.Local(apex), pf = Mesh.Local(far);
        var before = Math.Min(TriangleShape.HeightMm(pu, pv, pa), TriangleShape.HeightMm(pv, pu, pf));
        var after = Math.Min(TriangleShape.HeightMm(pa, pu, pf), TriangleShape.HeightMm(pf, pv, pa));
        if (after <= before)
            return false;
        // The neighbour carries the normal, unless it has none either.
        var normal = Vec3.Cross(pu - pv, pf - pv);
        if (TriangleShape.HeightMm(pv, pu, pf) > limitMm
            && (Vec3.Dot(normal, Vec3.Cross(pu - pa, pf - pa)) <= 0 || Vec3.Dot(normal, Vec3.Cross(pv - pf, pa - pf)) <= 0))
            return false;
        Displacement = Displacement.With(TriangleShape.DistanceMm(pa, pu, pv));
        Mesh.SetTriangle(t, apex, u, far, Mesh.OriginOf(other));
        Mesh.SetTriangle(other, far, v, apex, Mesh.OriginOf(other));
        Enqueue(t);
        Enqueue(other);
        return true;
    }

    private bool RunsAlong(int t, int from, int to)
    {
        var (a, b, c) = Mesh.Triangle(t);
        return (a == from && b == to) || (b == from && c == to) || (c == from && a == to);
    }

    /// <summary>Takes away a degenerate triangle at the border, which then runs along its other edges: no new loop, no pinch.</summary>
    private bool DropAtBorder(int t, int longest)
    {
        var (a, b, c) = Mesh.Triangle(t);
        int[] v = [a, b, c];
        int free = 0, edge = -1;
        for (var i = 0; i < 3; i++)
        {
            if (Mesh.CountEdgeTriangles(v[i], v[(i + 1) % 3]) != 1)
                continue;
            free++;
            edge = i;
        }

        if (free == 0 || (free == 1 && Mesh.IsOnBorder(v[(edge + 2) % 3])))
            return false;

        // The apex then stands on the edge across, which keeps its other triangle.
        if (free == 1 && edge != longest && !_mayLeaveSlits)
            return false;
        Mesh.RemoveTriangle(t);
        return true;
    }

    private void DropWhollyDegeneratePieces()
    {
        var open = FindLeft();
        var seen = new HashSet<int>();
        foreach (var start in open)
        {
            if (!seen.Add(start))
                continue;
            var piece = new List<int> { start };
            var all = true;
            for (var i = 0; i < piece.Count && all; i++)
            {
                var (a, b, c) = Mesh.Triangle(piece[i]);
                foreach (var v in (int[])[a, b, c])
                {
                    for (var corner = Mesh.FirstCorner(v); corner >= 0 && all; corner = Mesh.NextCorner(corner))
                    {
                        all = IsDegenerate(corner / 3);
                        if (all && seen.Add(corner / 3))
                            piece.Add(corner / 3);
                    }
                }
            }

            if (!all)
                continue;
            foreach (var t in piece)
                Mesh.RemoveTriangle(t);
            Edits++;
        }
    }

    private void Enqueue(int t)
    {
        if (IsDegenerate(t) && _queued.Add(t))
            _queue.Enqueue(t);
    }

    private bool IsDegenerate(int t)
    {
        var (a, b, c) = Mesh.Triangle(t);
        return TriangleShape.HeightMm(Mesh.Local(a), Mesh.Local(b), Mesh.Local(c)) <= limitMm;
    }

    private double Length(int u, int v) => Vec3.Distance(Mesh.Local(u), Mesh.Local(v));

    private static int IndexOf(double[] values, double value) => Array.IndexOf(values, value);
}
