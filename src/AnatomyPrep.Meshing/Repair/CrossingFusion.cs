using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Joins a surface where it passes through itself: what lies inside goes, the rest meets along the line of crossing.</summary>
/// <remarks>
/// The triangles that cross are cut along each other (<see cref="TriangleCuts"/>); the lines divide the surface into patches, and
/// a patch stays when the winding number of its piece is 0 before it and 1 behind it, so that what stays bounds all that is
/// inside at least once (Zhou, Grinspun, Zorin, Jacobson, "Mesh arrangements for solid geometry", 2016, from memory; for one
/// piece and with the generalized winding number, <see cref="WindingNumber"/>). Of a piece that faces inward the signs are turned.
/// A patch ends at triangles that cross elsewhere. Null in special position, where a patch is neither in nor out (an open
/// surface), where lines are not closed by the patches that stay, or where more than half of the piece would go.
/// Parts keep the origin of their triangle: only their new corners are rounded.
/// O(triangles of the piece) for each try.
/// </remarks>
internal sealed class CrossingFusion
{
    private const double Unclear = 0.25;
    private const double MostShare = 0.5;

    private readonly Mesh _source;
    private readonly int[] _pieceOf;
    private readonly double _nearMm;
    private readonly Dictionary<int, (WindingNumber Winding, bool Inward)> _windings = [];

    public CrossingFusion(Mesh source, int[] pieceOf)
    {
        _source = source;
        _pieceOf = pieceOf;
        _nearMm = Math.Max(RemoveDegenerates.DefaultHeightMm(source), float.Epsilon);
    }

    /// <param name="pairs">Pairs of one piece that cross, each once.</param>
    /// <param name="isFaulty">Triangles that meet others of their piece, also elsewhere.</param>
    public Replacement? Try(EditableMesh mesh, int piece, IReadOnlyList<(int First, int Second)> pairs, Func<int, bool> isFaulty, RunContext run)
    {
        if (TriangleCuts.Make(mesh, pairs, _nearMm, run) is not { } cuts)
            return null;
        var (winding, inward) = WindingOf(piece, run);
        var patches = new Patches(mesh, cuts, isFaulty);
        var goes = new bool[patches.Count];
        for (var p = 0; p < goes.Length; p++)
        {
            var before = winding.At(patches.PointBefore(p) + _source.OriginMm);
            if (Math.Abs(before - Math.Round(before)) > Unclear)
                return null;
            goes[p] = Math.Round(before) != (inward ? -1 : 0);
        }

        if (!goes.Contains(true) || patches.TouchesOthers(goes) || !patches.LinesClose(goes))
            return null;
        var gone = patches.WholeTriangles(goes);
        double goneMm2 = gone.Sum(mesh.AreaMm2), pieceMm2 = 0;
        for (var t = 0; t < mesh.TriangleCount; t++)
            pieceMm2 += mesh.IsAlive(t) ? mesh.AreaMm2(t) : 0;
        if (goneMm2 > MostShare * pieceMm2)
            return null;
        var kept = cuts.Parts.Where((_, i) => !goes[patches.OfPart(i)]).ToArray();
        return new(
            RepairKind.Fuse,
            [.. cuts.Triangles.Concat(gone).Order()],
            Array.ConvertAll(kept, k => (k.A, k.B, k.C)),
            [.. cuts.Points],
            [],
            default,
            Array.ConvertAll(kept, k => mesh.OriginOf(k.Of)));
    }

    private (WindingNumber Winding, bool Inward) WindingOf(int piece, RunContext run)
    {
        if (_windings.TryGetValue(piece, out var known))
            return known;
        var keep = new bool[_source.TriangleCount];
        for (var t = 0; t < keep.Length; t++)
            keep[t] = _pieceOf[t] == piece;
        var own = MeshSubset.Keep(_source, keep);
        return _windings[piece] = (WindingNumber.Of(TriangleTree.Build(own, run), run), MeshMeasures.SignedVolumeMm3(own, run) < 0);
    }

    /// <summary>The surface near the lines, in patches that the lines bound. Triangles of the mesh that were not cut have their number, parts ~number.</summary>
    private sealed class Patches
    {
        private readonly EditableMesh _mesh;
        private readonly TriangleCuts _cuts;
        private readonly Func<int, bool> _isFaulty;
        private readonly int[] _ofPart;
        private readonly Dictionary<int, int> _ofTriangle = [];
        private readonly HashSet<int> _cutTriangles;
        private readonly Dictionary<(int, int), List<int>> _partsAt = [];
        private readonly List<bool> _touchesOthers = [];
        private readonly List<(int Piece, double AreaMm2)> _largest = [];
        private readonly List<int> _edgeTriangles = [];

        public Patches(EditableMesh mesh, TriangleCuts cuts, Func<int, bool> isFaulty)
        {
            (_mesh, _cuts, _isFaulty) = (mesh, cuts, isFaulty);
            _cutTriangles = [.. cuts.Triangles];
            _ofPart = new int[cuts.Parts.Count];
            Array.Fill(_ofPart, -1);
            for (var i = 0; i < _ofPart.Length; i++)
            {
                var (a, b, c, _) = cuts.Parts[i];
                foreach (var edge in ((int, int)[])[TriangleCuts.Edge(a, b), TriangleCuts.Edge(b, c), TriangleCuts.Edge(c, a)])
                    (_partsAt.TryGetValue(edge, out var list) ? list : _partsAt[edge] = []).Add(i);
            }

            for (var i = 0; i < _ofPart.Length; i++)
                if (_ofPart[i] < 0)
                    Flood(i);
        }

        public int Count => _largest.Count;

        public int OfPart(int part) => _ofPart[part];

        /// <summary>A point a little before the largest triangle of the patch, relative to the mesh's origin.</summary>
        public Vec3 PointBefore(int patch)
        {
            var (a, b, c) = Corners(_largest[patch].Piece);
            Vec3 p = _cuts.At(a), q = _cuts.At(b), r = _cuts.At(c);
            return ((p + q + r) / 3) + (TriangleShape.Normal(p, q, r) * (1e-3 * TriangleShape.HeightMm(p, q, r)));
        }

        public bool TouchesOthers(bool[] goes) => Enumerable.Range(0, Count).Any(p => goes[p] && _touchesOthers[p]);

        /// <summary>Do two parts that run against each other stay along every line, or none?</summary>
        public bool LinesClose(bool[] goes)
        {
            foreach (var line in _cuts.Lines)
            {
                int along = 0, against = 0;
                foreach (var i in _partsAt.GetValueOrDefault(line) ?? [])
                {
                    if (goes[_ofPart[i]])
                        continue;
                    var (a, b, c, _) = _cuts.Parts[i];
                    var runsUp = (a, b) == line || (b, c) == line || (c, a) == line;
                    along += runsUp ? 1 : 0;
                    against += runsUp ? 0 : 1;
                }

                if (along > 1 || along != against)
                    return false;
            }

            return true;
        }

        public List<int> WholeTriangles(bool[] goes) => [.. _ofTriangle.Where(e => goes[e.Value]).Select(e => e.Key).Order()];

        private void Flood(int first)
        {
            var patch = Count;
            _largest.Add((~first, -1));
            _touchesOthers.Add(false);
            var open = new Stack<int>();
            _ofPart[first] = patch;
            open.Push(~first);
            while (open.TryPop(out var piece))
            {
                var (a, b, c) = Corners(piece);
                Vec3 p = _cuts.At(a), q = _cuts.At(b), r = _cuts.At(c);
                var area = Vec3.Cross(q - p, r - p).Length / 2;
                if (area > _largest[patch].AreaMm2)
                    _largest[patch] = (piece, area);
                Cross(a, b, piece, patch, open);
                Cross(b, c, piece, patch, open);
                Cross(c, a, piece, patch, open);
            }
        }

        private void Cross(int a, int b, int piece, int patch, Stack<int> open)
        {
            var edge = TriangleCuts.Edge(a, b);
            if (_cuts.Lines.Contains(edge))
                return;
            foreach (var part in _partsAt.GetValueOrDefault(edge) ?? [])
            {
                // Parts of both sheets may have an edge between the same points near the line; only neighbours hang together there.
                if (_ofPart[part] >= 0 || !AreNeighbours(TriangleOf(piece), TriangleOf(~part)))
                    continue;
                _ofPart[part] = patch;
                open.Push(~part);
            }

            if (a < 0 || b < 0)
                return;
            _edgeTriangles.Clear();
            _mesh.FindEdgeTriangles(a, b, _edgeTriangles);
            foreach (var t in _edgeTriangles)
            {
                if (t == piece || _cutTriangles.Contains(t) || _ofTriangle.ContainsKey(t) || !AreNeighbours(TriangleOf(piece), t))
                    continue;
                if (_isFaulty(t) || _edgeTriangles.Count > 2)
                {
                    _touchesOthers[patch] = true;
                    continue;
                }

                _ofTriangle[t] = patch;
                open.Push(t);
            }
        }

        private int TriangleOf(int piece) => piece >= 0 ? piece : _cuts.Parts[~piece].Of;

        private bool AreNeighbours(int s, int t)
        {
            var (a, b, c) = _mesh.Triangle(s);
            var (p, q, r) = _mesh.Triangle(t);
            return s == t || ((a == p || a == q || a == r ? 1 : 0) + (b == p || b == q || b == r ? 1 : 0) + (c == p || c == q || c == r ? 1 : 0)) == 2;
        }

        private (int A, int B, int C) Corners(int piece)
        {
            if (piece >= 0)
                return _mesh.Triangle(piece);
            var (a, b, c, _) = _cuts.Parts[~piece];
            return (a, b, c);
        }
    }
}
