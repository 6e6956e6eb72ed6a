using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Repair;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Combining;

/// <summary>Makes a combination a solid by exact tests where rounding its new vertices to float32 has made triangles cross.</summary>
/// <remarks>
/// A cut leaves triangles thinner than a step of float32. Where some of them cross or lose their area, an edge of each is
/// collapsed onto one end, if the other end is a vertex made by the cut or lies in the same place, or its longest edge is turned to join the two apexes:
/// what moves the surface least, and never by more than <see cref="FarthestShare"/> of the diagonal. Topology stays
/// (<see cref="EdgeCollapse"/>).
/// Cost: one measurement of the mesh a round, and one where there is nothing to do.
/// </remarks>
internal static class CutSettling
{
    /// <summary>1e-5: 1 µm on a model of 100 mm, a hundred steps of float32.</summary>
    public const double FarthestShare = 1e-5;

    private const int MostRounds = 8;

    /// <param name="Places">Edges collapsed or turned.</param>
    /// <param name="MaxMm">How far the surface moved at most.</param>
    public sealed record Settled(Mesh Mesh, MeshFacts Facts, int Places, double MaxMm);

    /// <returns>As settled as it gets; look whether it is solid.</returns>
    public static Settled Apply(Mesh mesh, bool[] isNew, RunContext run)
    {
        var facts = MeshFacts.Measure(mesh, run);
        var (places, maxMm) = (0, 0.0);
        for (var round = 0; round < MostRounds && !facts.Solid; round++)
        {
            var editor = new Round(mesh, isNew, FarthestShare * mesh.BoundsMm().Diagonal);
            if (!editor.Run(Faults(mesh, run).SelectMany(f => (int[])[f.First, f.Second]).Distinct().Order()))
                break;
            mesh = editor.Build(out isNew);
            facts = MeshFacts.Measure(mesh, run);
            (places, maxMm) = (places + editor.Changes, Math.Max(maxMm, editor.MaxMm));
        }

        return new(mesh, facts, places, maxMm);
    }

    /// <summary>Pairs of triangles that cross or overlap; one without area is paired with itself.</summary>
    public static List<(int First, int Second)> Faults(Mesh mesh, RunContext run)
    {
        var faults = new List<(int, int)>();
        foreach (var pair in SelfIntersections.Find(mesh, run).Pairs)
            if (pair.Contact != Spatial.Contact.Touching)
                faults.Add((pair.First, pair.Second));
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            if (ExactPredicates.Collinear(mesh.Local(a), mesh.Local(b), mesh.Local(c)))
                faults.Add((t, t));
        }

        return faults;
    }

    private sealed class Round
    {
        private readonly Mesh _source;
        private readonly bool[] _isNew;
        private readonly double _farthestMm;
        private readonly EditableMesh _mesh;
        private readonly EdgeCollapse _collapse;
        private readonly List<int> _onEdge = [];

        public Round(Mesh mesh, bool[] isNew, double farthestMm)
        {
            _source = mesh;
            _isNew = isNew;
            _farthestMm = farthestMm;
            _mesh = new(mesh);
            _collapse = new(_mesh);
        }

        public int Changes { get; private set; }

        public double MaxMm { get; private set; }

        public bool Run(IEnumerable<int> faulty)
        {
            foreach (var t in faulty)
                if (_mesh.IsAlive(t))
                    ChangeBest(t);
            return Changes > 0;
        }

        public Mesh Build(out bool[] isNew)
        {
            var used = new bool[_source.VertexCount];
            for (var t = 0; t < _mesh.TriangleCount; t++)
            {
                if (!_mesh.IsAlive(t))
                    continue;
                var (a, b, c) = _mesh.Triangle(t);
                used[a] = used[b] = used[c] = true;
            }

            isNew = [.. Enumerable.Range(0, used.Length).Where(v => used[v]).Select(v => _isNew[v])];
            return _mesh.Build(out _);
        }

        private void ChangeBest(int t)
        {
            var (a, b, c) = _mesh.Triangle(t);
            var collapse = (LossMm: double.PositiveInfinity, Gone: -1, Kept: -1);
            foreach (var (gone, kept) in (ReadOnlySpan<(int, int)>)[(a, b), (b, a), (b, c), (c, b), (c, a), (a, c)])
            {
                if ((!_isNew[gone] && _mesh.Local(gone) != _mesh.Local(kept)) || !_collapse.KeepsTopology(gone, kept))
                    continue;
                var loss = _collapse.LossMm(gone, kept, 0);
                if (loss < collapse.LossMm)
                    collapse = (loss, gone, kept);
            }

            var turn = Turn(t);
            var lossMm = Math.Min(collapse.LossMm, turn.LossMm);
            if (lossMm > _farthestMm)
                return;
            if (collapse.LossMm <= turn.LossMm)
                _collapse.Collapse(collapse.Gone, collapse.Kept);
            else
                turn.Apply!();
            Changes++;
            MaxMm = Math.Max(MaxMm, lossMm);
        }

        /// <summary>Turns the longest edge round to join the apexes; only where the neighbour carries the normal and both new triangles agree with it.</summary>
        private (double LossMm, Action? Apply) Turn(int t)
        {
            var (u, v, apex) = _mesh.Triangle(t);
            while (Length(u, v) < Length(v, apex) || Length(u, v) < Length(apex, u))
                (u, v, apex) = (v, apex, u);
            _onEdge.Clear();
            _mesh.FindEdgeTriangles(u, v, _onEdge);
            if (_onEdge.Count != 2)
                return (double.PositiveInfinity, null);
            var other = _onEdge[0] == t ? _onEdge[1] : _onEdge[0];
            var far = _mesh.Apex(other, u, v);
            Vec3 pu = _mesh.Local(u), pv = _mesh.Local(v), pa = _mesh.Local(apex), pf = _mesh.Local(far);
            var normal = Vec3.Cross(pu - pv, pf - pv);
            if (far == apex || _mesh.CountEdgeTriangles(apex, far) > 0
                || Vec3.Dot(normal, Vec3.Cross(pu - pa, pf - pa)) <= 0 || Vec3.Dot(normal, Vec3.Cross(pf - pa, pv - pa)) <= 0)
                return (double.PositiveInfinity, null);
            var origin = _mesh.OriginOf(other);
            return (TriangleShape.DistanceMm(pa, pu, pv), () =>
            {
                _mesh.SetTriangle(t, apex, u, far, origin);
                _mesh.SetTriangle(other, far, v, apex, origin);
            }
            );
        }

        private double Length(int u, int v) => Vec3.Distance(_mesh.Local(u), _mesh.Local(v));
    }
}
