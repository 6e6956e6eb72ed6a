using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>Gathers <see cref="MeshFacts"/>: each question is asked of its own class, here they are put together.</summary>
internal sealed class MeshFactsMeasure
{
    private const string Step = "mesh-facts";
    private const int PieceTriangles = 1 << 14;

    private readonly Mesh _given;
    private readonly Mesh _mesh;
    private readonly int[]? _givenTriangle;
    private readonly RunContext _run;
    private readonly List<MeshPlace> _places = [];

    private MeshFactsMeasure(Mesh mesh, RunContext run)
    {
        _given = mesh;
        _run = run;
        (_mesh, _givenTriangle) = WithoutRepeats(mesh);
    }

    internal static MeshFacts Of(Mesh mesh, RunContext run) => new MeshFactsMeasure(mesh, run).Measure();

    private MeshFacts Measure()
    {
        _run.Report(Step, "tree", 0);
        var tree = TriangleTree.Build(_mesh, _run);
        _run.Report(Step, "edges", 0.2);
        var edges = EdgeTable.Build(_mesh);
        _run.ThrowIfCancelled();
        _run.Report(Step, "pairs", 0.4);
        var pairs = SelfIntersections.Find(tree, edges, _run);
        _run.Report(Step, "vertices", 0.8);
        var fans = VertexFans.NonManifold(_mesh.TriangleArray, _mesh.VertexCount, edges, _run);
        var loops = LoopStarts.FirstHalfEdges(_mesh.TriangleArray, edges);
        _run.Report(Step, "parts", 0.9);
        var shells = Shells.Measure(tree, edges, pairs, _run);
        var flat = WithoutArea();
        var duplicates = Duplicates(edges);
        var isolated = Isolated();
        var repeats = _given.TriangleCount - _mesh.TriangleCount;

        AddPlaces(edges, pairs, fans, loops, shells, flat, duplicates, isolated);
        var inward = shells.All.Count(s => !s.Outward);
        var used = _given.VertexCount - isolated.Count - OnlyInRepeats(isolated);
        var euler = used - edges.EdgeCount + _mesh.TriangleCount;
        var consistent = edges.InconsistentEdges == 0;
        var watertight = _mesh.TriangleCount > 0 && edges.BoundaryEdges == 0 && edges.NonManifoldEdges == 0 && consistent;
        var intersections = pairs.Crossing + pairs.Overlapping;
        var bounds = _given.BoundsMm();
        _run.Report(Step, "parts", 1);
        return new()
        {
            Vertices = _given.VertexCount,
            Triangles = _given.TriangleCount,
            Components = shells.All.Count,
            BoundaryLoops = loops.Count,
            BoundaryEdges = edges.BoundaryEdges,
            NonManifoldEdges = edges.NonManifoldEdges,
            NonManifoldVertices = fans.Count,
            InconsistentEdges = edges.InconsistentEdges,
            SelfIntersections = intersections,
            TouchingPairs = pairs.Touching,
            AllPairsCounted = pairs.Complete,
            DegenerateTriangles = repeats + flat.Count,
            DuplicateTriangles = duplicates.Count,
            IsolatedVertices = isolated.Count,
            InwardShells = inward,
            ConsistentOrientation = consistent,
            OutwardOrientation = consistent && inward == 0,
            Watertight = watertight,
            Solid = watertight && fans.Count == 0 && inward == 0 && intersections == 0 && pairs.Complete
                && repeats + flat.Count == 0 && duplicates.Count == 0,
            Genus = watertight && fans.Count == 0 ? shells.All.Count - (euler / 2) : null,
            EulerCharacteristic = euler,
            VolumeMm3 = MeshMeasures.SignedVolumeMm3(_mesh, _run),
            AreaMm2 = MeshMeasures.AreaMm2(_mesh, _run),
            BoundsMm = bounds.IsEmpty ? null : [Numbers(bounds.Min), Numbers(bounds.Max)],
            Places = _places,
        };
    }

    private static (Mesh Mesh, int[]? GivenTriangle) WithoutRepeats(Mesh mesh)
    {
        var triangles = mesh.Triangles;
        var kept = new List<int>();
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            int a = triangles[3 * t], b = triangles[(3 * t) + 1], c = triangles[(3 * t) + 2];
            if (a != b && b != c && c != a)
                kept.Add(t);
        }

        if (kept.Count == mesh.TriangleCount)
            return (mesh, null);
        var left = new int[3 * kept.Count];
        for (var i = 0; i < kept.Count; i++)
            triangles.Slice(3 * kept[i], 3).CopyTo(left.AsSpan(3 * i));
        return (new(mesh.OriginMm, mesh.PositionArray, left), [.. kept]);
    }

    /// <summary>Vertices in no triangle of the mesh measured that are not isolated either: only triangles that repeat a corner use them.</summary>
    private int OnlyInRepeats(List<int> isolated)
    {
        if (_givenTriangle is null)
            return 0;
        var used = new bool[_mesh.VertexCount];
        foreach (var v in _mesh.Triangles)
            used[v] = true;
        return used.Count(u => !u) - isolated.Count;
    }

    private List<int> WithoutArea()
    {
        var pieces = new List<int>[Partition.Pieces(_mesh.TriangleCount, PieceTriangles)];
        Partition.Ranges(_run, _mesh.TriangleCount, PieceTriangles, (piece, from, to) =>
        {
            var flat = new List<int>();
            for (var t = from; t < to; t++)
            {
                var (a, b, c) = _mesh.Triangle(t);
                if (ExactPredicates.Collinear(_mesh.Local(a), _mesh.Local(b), _mesh.Local(c)))
                    flat.Add(t);
            }

            pieces[piece] = flat;
        });
        return [.. pieces.SelectMany(p => p)];
    }

    /// <summary>
    /// Triangles with the vertices of an earlier one. Their edges are shared by both, so each is either used wrongly or all
    /// three lead to one partner: only such triangles are compared.
    /// </summary>
    private List<int> Duplicates(EdgeTable edges)
    {
        var opposite = edges.Opposite;
        var candidates = new List<(int Low, int Middle, int High, int Triangle)>();
        for (var t = 0; t < _mesh.TriangleCount; t++)
        {
            int x = opposite[3 * t], y = opposite[(3 * t) + 1], z = opposite[(3 * t) + 2];
            if (x == EdgeTable.Boundary || y == EdgeTable.Boundary || z == EdgeTable.Boundary)
                continue;
            if ((x >= 0 && y >= 0 && x / 3 != y / 3) || (y >= 0 && z >= 0 && y / 3 != z / 3) || (x >= 0 && z >= 0 && x / 3 != z / 3))
                continue;
            var (a, b, c) = _mesh.Triangle(t);
            int low = Math.Min(a, Math.Min(b, c)), high = Math.Max(a, Math.Max(b, c));
            candidates.Add((low, a ^ b ^ c ^ low ^ high, high, t));
        }

        candidates.Sort();
        var duplicates = new List<int>();
        for (var i = 1; i < candidates.Count; i++)
        {
            var (before, here) = (candidates[i - 1], candidates[i]);
            if (before.Low == here.Low && before.Middle == here.Middle && before.High == here.High)
                duplicates.Add(here.Triangle);
        }

        duplicates.Sort();
        return duplicates;
    }

    private List<int> Isolated()
    {
        var used = new bool[_given.VertexCount];
        foreach (var v in _given.Triangles)
            used[v] = true;
        var isolated = new List<int>();
        for (var v = 0; v < used.Length; v++)
            if (!used[v])
                isolated.Add(v);
        return isolated;
    }

    private void AddPlaces(
        EdgeTable edges, IntersectingPairs pairs, List<int> fans, List<int> loops, Shells shells, List<int> flat, List<int> duplicates, List<int> isolated)
    {
        Add(nameof(MeshFacts.BoundaryLoops), loops, EdgePlace);
        AddEdges(nameof(MeshFacts.NonManifoldEdges), edges, EdgeTable.NonManifold);
        AddEdges(nameof(MeshFacts.InconsistentEdges), edges, EdgeTable.Inconsistent);
        Add(nameof(MeshFacts.NonManifoldVertices), fans, v => (_mesh.Vertex(v), -1));
        Add(nameof(MeshFacts.SelfIntersections), pairs.Pairs.Where(p => p.Contact != Contact.Touching), PairPlace);
        Add(nameof(MeshFacts.TouchingPairs), pairs.Pairs.Where(p => p.Contact == Contact.Touching), PairPlace);
        Add(nameof(MeshFacts.DegenerateTriangles), Repeats().Concat(flat.Select(Given)), t => (Middle(_given, t), t));
        Add(nameof(MeshFacts.DuplicateTriangles), duplicates, t => (Middle(_mesh, t), Given(t)));
        Add(nameof(MeshFacts.IsolatedVertices), isolated, v => (_given.Vertex(v), -1));
        Add(nameof(MeshFacts.InwardShells), shells.All.Where(s => !s.Outward), s => (s.BoundsMm.Center, Given(s.FirstTriangle)));
    }

    private void Add<T>(string kind, IEnumerable<T> items, Func<T, (Vec3 PositionMm, int Triangle)> place)
    {
        var name = char.ToLowerInvariant(kind[0]) + kind[1..];
        foreach (var item in items.Take(MeshFacts.PlacesPerKind))
        {
            var (position, triangle) = place(item);
            _places.Add(new(name, Numbers(position), triangle < 0 ? null : triangle));
        }
    }

    private void AddEdges(string kind, EdgeTable edges, int mark)
    {
        var seen = new HashSet<(int, int)>();
        Add(
            kind,
            Enumerable.Range(0, edges.Opposite.Length).Where(h => edges.OppositeArray[h] == mark && seen.Add(Ends(h))),
            EdgePlace);
    }

    private (int Low, int High) Ends(int halfEdge)
    {
        int u = _mesh.Triangles[halfEdge], v = _mesh.Triangles[EdgeTable.Next(halfEdge)];
        return (Math.Min(u, v), Math.Max(u, v));
    }

    private (Vec3 PositionMm, int Triangle) EdgePlace(int halfEdge)
    {
        var (u, v) = Ends(halfEdge);
        return ((_mesh.Vertex(u) + _mesh.Vertex(v)) * 0.5, Given(halfEdge / 3));
    }

    /// <summary>Centre of what the boxes of both have in common.</summary>
    private (Vec3 PositionMm, int Triangle) PairPlace(TrianglePair pair)
    {
        Box3 a = Bounds(pair.First), b = Bounds(pair.Second);
        return ((Vec3.Max(a.Min, b.Min) + Vec3.Min(a.Max, b.Max)) * 0.5, Given(pair.First));
    }

    private Box3 Bounds(int triangle)
    {
        var (a, b, c) = _mesh.Triangle(triangle);
        return Box3.Empty.Including(_mesh.Vertex(a)).Including(_mesh.Vertex(b)).Including(_mesh.Vertex(c));
    }

    private IEnumerable<int> Repeats() => _givenTriangle is null
        ? []
        : Enumerable.Range(0, _given.TriangleCount).Where(t => Array.BinarySearch(_givenTriangle, t) < 0);

    private int Given(int triangle) => _givenTriangle is null ? triangle : _givenTriangle[triangle];

    private static Vec3 Middle(Mesh mesh, int triangle)
    {
        var (a, b, c) = mesh.Triangle(triangle);
        return (mesh.Vertex(a) + mesh.Vertex(b) + mesh.Vertex(c)) / 3;
    }

    private static double[] Numbers(Vec3 v) => [v.X, v.Y, v.Z];
}
