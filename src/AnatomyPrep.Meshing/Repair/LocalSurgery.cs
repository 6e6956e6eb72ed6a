using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>A region of a mesh with what surrounds it, cut out as a small mesh, and the ways to repair it.</summary>
internal sealed class LocalSurgery
{
    private const int MarginRings = 3;

    private readonly EditableMesh _mesh;
    private readonly Mesh _local;
    private readonly bool[] _inRegion;
    private readonly int[] _vertices;

    /// <param name="region">Triangles, ascending.</param>
    /// <param name="mayChange">Islands of the surroundings within the region are taken into it when every triangle may change.</param>
    public LocalSurgery(EditableMesh mesh, int[] region, Func<int, bool> mayChange)
    {
        _mesh = mesh;
        var triangles = WithMargin(mesh, region, out var outermost);
        _local = Extract(mesh, triangles, out _vertices);
        var chosen = region.ToHashSet();
        _inRegion = Array.ConvertAll(triangles, chosen.Contains);
        TakeIslands(triangles, outermost, mayChange);
        Region = [.. triangles.Where((_, i) => _inRegion[i])];
    }

    /// <summary>Triangles of the mesh that the repairs would replace.</summary>
    public int[] Region { get; }

    /// <summary>Repairs that leave pieces, rims and handles as many as they were, from the gentlest to the strongest; may be empty.</summary>
    public IEnumerable<Replacement> Candidates(RunContext run)
    {
        foreach (var reshaped in Reshape(run))
            yield return reshaped;
        if (IsDiscs() && Refill(FillMethod.Smooth, run) is { } refilled)
            yield return refilled;
    }

    /// <summary>Takes the region out and closes every rim by itself, smooth or else flat: what passed through each other comes apart.</summary>
    public IEnumerable<Replacement> PartingCandidates(RunContext run)
    {
        if (!IsDiscs() && Refill(FillMethod.Smooth, run) is { } smooth)
            yield return smooth;
        if (Refill(FillMethod.Flat, run) is { } flat)
            yield return flat;
    }

    private static int[] WithMargin(EditableMesh mesh, int[] region, out HashSet<int> outermost)
    {
        var all = region.ToHashSet();
        outermost = all;
        IEnumerable<int> edge = region;
        for (var ring = 0; ring < MarginRings; ring++)
        {
            outermost = [];
            foreach (var t in edge)
            {
                for (var c = 3 * t; c < (3 * t) + 3; c++)
                    for (var corner = mesh.FirstCorner(mesh.Corner(c)); corner >= 0; corner = mesh.NextCorner(corner))
                        if (all.Add(corner / 3))
                            outermost.Add(corner / 3);
            }

            edge = outermost;
        }

        return [.. all.Order()];
    }

    private static Mesh Extract(EditableMesh mesh, int[] triangles, out int[] vertices)
    {
        var number = new Dictionary<int, int>();
        var order = new List<int>();
        var corners = new int[3 * triangles.Length];
        for (var i = 0; i < corners.Length; i++)
        {
            var v = mesh.Corner((3 * triangles[i / 3]) + (i % 3));
            if (!number.TryGetValue(v, out var n))
            {
                number[v] = n = order.Count;
                order.Add(v);
            }

            corners[i] = n;
        }

        var positions = new float[3 * order.Count];
        for (var i = 0; i < order.Count; i++)
        {
            var p = mesh.Local(order[i]);
            (positions[3 * i], positions[(3 * i) + 1], positions[(3 * i) + 2]) = ((float)p.X, (float)p.Y, (float)p.Z);
        }

        vertices = [.. order];
        return new(Vec3.Zero, positions, corners);
    }

    // What lies between the region's parts and does not reach the outermost ring is cut off from the rest by the region.
    private void TakeIslands(int[] triangles, HashSet<int> outermost, Func<int, bool> mayChange)
    {
        var neighbours = TriangleNeighbours.Build(_local);
        var seen = (bool[])_inRegion.Clone();
        for (var start = 0; start < seen.Length; start++)
        {
            if (seen[start])
                continue;
            var island = new List<int> { start };
            seen[start] = true;
            var free = true;
            for (var i = 0; i < island.Count; i++)
            {
                free &= !outermost.Contains(triangles[island[i]]) && mayChange(triangles[island[i]]);
                for (var h = 3 * island[i]; h < (3 * island[i]) + 3; h++)
                {
                    var next = neighbours.Across(h);
                    if (next < 0 || seen[next])
                        continue;
                    seen[next] = true;
                    island.Add(next);
                }
            }

            if (!free)
                continue;
            foreach (var t in island)
                _inRegion[t] = true;
        }
    }

    private IEnumerable<Replacement> Reshape(RunContext run)
    {
        var inner = InnerVertices();
        if (inner.Count == 0)
            yield break;
        var number = new int[_local.VertexCount];
        Array.Fill(number, -1);
        var order = new List<int>();
        var isInner = inner.ToHashSet();
        for (var v = 0; v < number.Length; v++)
            if (!isInner.Contains(v))
                Place(v);
        foreach (var v in inner)
            Place(v);
        var triangles = new (int, int, int)[_local.TriangleCount];
        for (var t = 0; t < triangles.Length; t++)
        {
            var (a, b, c) = _local.Triangle(t);
            triangles[t] = (number[a], number[b], number[c]);
        }

        var fairing = new PatchFairing([.. order.Select(_local.Local)], triangles, order.Count - inner.Count, inner.Count, _local.BoundsMm().Diagonal);
        if (fairing.ThinPlate(run) is { } plate)
            yield return Moved(inner, plate);
        if (fairing.Membrane(run) is { } membrane)
            yield return Moved(inner, membrane);

        void Place(int v)
        {
            number[v] = order.Count;
            order.Add(v);
        }
    }

    // All triangles in the region, and closed around: only such a vertex may move without moving anything outside.
    private List<int> InnerVertices()
    {
        var outside = new bool[_local.VertexCount];
        var edges = EdgeTable.Build(_local);
        for (var h = 0; h < _local.Triangles.Length; h++)
        {
            if (!_inRegion[h / 3])
                outside[_local.Triangles[h]] = true;
            if (edges.Opposite[h] < 0)
                outside[_local.Triangles[h]] = outside[_local.Triangles[EdgeTable.Next(h)]] = true;
        }

        return [.. Enumerable.Range(0, outside.Length).Where(v => !outside[v])];
    }

    private Replacement Moved(List<int> inner, Vec3[] places)
    {
        var moved = default(DistanceTally);
        var points = new Vec3[inner.Count];
        for (var i = 0; i < points.Length; i++)
        {
            points[i] = new((float)places[i].X, (float)places[i].Y, (float)places[i].Z);
            moved = moved.With(Vec3.Distance(points[i], _local.Local(inner[i])));
        }

        return new(RepairKind.Reshape, Region, Array.ConvertAll(Region, _mesh.Triangle), points, [.. inner.Select(v => _vertices[v])], moved);
    }

    // At an old border, what the region takes away there stays away.
    private Replacement? Refill(FillMethod method, RunContext run)
    {
        var (open, patches, atBorder, unclosed) = RegionRefill.MakePatches(_local, _inRegion, method, "refill", run);
        if (unclosed > 0)
            return null;
        var triangles = new List<(int, int, int)>();
        var points = new List<Vec3>();
        foreach (var patch in patches)
        {
            var first = points.Count;
            int Number(int v) => v < patch.Rim.Length ? _vertices[patch.Rim[v]] : ~(first + v - patch.Rim.Length);
            foreach (var (a, b, c) in patch.Triangles)
                triangles.Add((Number(a), Number(b), Number(c)));
            points.AddRange(patch.NewPoints);
        }

        return new(atBorder > 0 ? RepairKind.Trim : RepairKind.Refill, Region, [.. triangles], [.. points], [], Distances(open, patches));
    }

    // Every part of the region alone has the Euler number 1: one rim, no handle. The rims are checked when they are filled.
    private bool IsDiscs()
    {
        var corners = new List<int>();
        for (var t = 0; t < _inRegion.Length; t++)
            if (_inRegion[t])
                corners.AddRange(_local.Triangles.Slice(3 * t, 3));
        var triangles = corners.ToArray();
        var edges = EdgeTable.Build(triangles, _local.VertexCount);
        if (edges.NonManifoldEdges > 0 || edges.InconsistentEdges > 0)
            return false;
        var part = Pieces.Label(triangles, _local.VertexCount, out var parts);
        var euler = new int[parts];
        var seen = new bool[_local.VertexCount];
        for (var h = 0; h < triangles.Length; h++)
        {
            ref var sum = ref euler[part[h / 3]];
            sum += h % 3 == 0 ? 1 : 0;
            sum -= edges.Opposite[h] < h ? 1 : 0;
            sum += seen[triangles[h]] ? 0 : 1;
            seen[triangles[h]] = true;
        }

        return Array.TrueForAll(euler, e => e == 1);
    }

    // How far the surface moves: the vertices that go, measured to what takes their place.
    private DistanceTally Distances(Mesh open, List<HolePatch> patches)
    {
        var rim = patches.SelectMany(p => p.Rim).ToHashSet();
        var gone = new SortedSet<int>();
        for (var h = 0; h < _local.Triangles.Length; h++)
            if (_inRegion[h / 3] && !rim.Contains(_local.Triangles[h]))
                gone.Add(_local.Triangles[h]);
        var moved = default(DistanceTally);
        foreach (var v in gone)
        {
            var nearest = double.PositiveInfinity;
            foreach (var patch in patches)
                foreach (var (a, b, c) in patch.Triangles)
                    nearest = Math.Min(nearest, TriangleShape.DistanceMm(_local.Local(v), patch.Point(open, a), patch.Point(open, b), patch.Point(open, c)));
            if (double.IsFinite(nearest))
                moved = moved.With(nearest);
        }

        return moved;
    }
}
