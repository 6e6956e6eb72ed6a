using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>One remeshing: rounds of splitting, collapsing, flipping and relaxing, each over all edges in the order of their numbers.</summary>
internal sealed class RemeshPass
{
    private const int BlockVertices = 1 << 12;
    private const int MostSweeps = 40;

    // Normals of a changed triangle before and after: cos 60° in a collapse, cos 37° in a flip, cos 78° when a vertex slides.
    private const double CollapseTurn = 0.5;
    private const double FlipTurn = 0.8;
    private const double SlideTurn = 0.2;

    // Twice the area over the square of the longest edge: 0.87 for even sides, 0.05 for one 20 times as long as high.
    private const double LeastShape = 0.05;

    private readonly RemeshSurface _surface;
    private readonly List<RemeshKind> _kind;
    private readonly TriangleTree _original;
    private readonly TriangleTree? _lines;
    private readonly RunContext _run;
    private readonly double _edgeMm;
    private readonly double _longSquared;
    private readonly double _shortSquared;
    private readonly double _limitMm;
    private readonly int[] _ringA = new int[RemeshSurface.MostTriangles];
    private readonly int[] _ringB = new int[RemeshSurface.MostTriangles];

    internal RemeshPass(Mesh mesh, EdgeTable edges, FeatureLines features, TriangleTree original, RemeshParameters parameters, RunContext run)
    {
        _surface = new(mesh, edges, features.Line);
        _kind = [.. features.Kind];
        (_original, _lines, _run) = (original, features.Tree, run);
        _edgeMm = parameters.TargetEdgeMm;
        _longSquared = 16.0 / 9 * _edgeMm * _edgeMm;
        _shortSquared = 16.0 / 25 * _edgeMm * _edgeMm;
        _limitMm = parameters.MaxDistanceMm is { } limit ? 0.9 * limit : double.PositiveInfinity;
    }

    internal Mesh Result() => _surface.ToMesh();

    internal void Round()
    {
        SplitLong();
        CollapseShort();
        Flip();
        Relax();
    }

    private bool HasLimit => _limitMm < double.PositiveInfinity;

    private bool IsEdge(int h) => _surface.From(h) >= 0 && _surface.IsAlive(h / 3) && (_surface.Opposite(h) < 0 || h < _surface.Opposite(h));

    private bool IsLocked(int v) => _kind[v] == RemeshKind.Locked;

    /// <summary>Longest edges first, by factors of √2: halving a short side of a long triangle only makes two that are thinner.</summary>
    private void SplitLong()
    {
        double longest = 0;
        for (var h = 0; h < 3 * _surface.TriangleSlots; h++)
            if (IsEdge(h))
                longest = Math.Max(longest, _surface.SquaredLength(h));
        var level = _longSquared;
        while (level * 2 < longest)
            level *= 2;
        for (; level >= _longSquared; level /= 2)
            SplitLongerThan(level);
    }

    private void SplitLongerThan(double squaredMm)
    {
        var splits = 1;
        for (var sweep = 0; splits > 0 && sweep < MostSweeps; sweep++)
        {
            splits = 0;
            for (var h = 0; h < 3 * _surface.TriangleSlots; h++)
            {
                if ((h & 0xFFFF) == 0)
                    _run.ThrowIfCancelled();
                if (IsEdge(h) && _surface.SquaredLength(h) > squaredMm && TrySplit(h))
                    splits++;
            }
        }
    }

    private bool TrySplit(int h)
    {
        int u = _surface.From(h), v = _surface.To(h), opposite = _surface.Opposite(h);
        if (IsLocked(u) || IsLocked(v) || (opposite < 0 && opposite != EdgeTable.Boundary))
            return false;
        _surface.Split(h, RemeshSurface.Rounded((_surface.At(u) + _surface.At(v)) * 0.5));
        _kind.Add(_surface.IsLine(h) ? RemeshKind.Line : RemeshKind.Free);
        return true;
    }

    private void CollapseShort()
    {
        for (var h = 0; h < 3 * _surface.TriangleSlots; h++)
        {
            if ((h & 0xFFFF) == 0)
                _run.ThrowIfCancelled();
            if (!IsEdge(h) || _surface.SquaredLength(h) >= _shortSquared)
                continue;
            var opposite = _surface.Opposite(h);
            // The vertex that has less of a place of its own goes.
            if (opposite >= 0 && _kind[_surface.To(h)] < _kind[_surface.From(h)])
                TryCollapse(opposite);
            else if (!TryCollapse(h) && opposite >= 0)
                TryCollapse(opposite);
        }
    }

    private bool TryCollapse(int h)
    {
        int u = _surface.From(h), v = _surface.To(h);
        if (!MayGoInto(h, u, v))
            return false;
        int countU = _surface.Ring(u, _ringA), countV = _surface.Ring(v, _ringB);
        if (countU < 0 || countV < 0)
            return false;
        ReadOnlySpan<int> ringU = _ringA.AsSpan(0, countU), ringV = _ringB.AsSpan(0, countV);
        if (!_surface.LinkHolds(h, ringU, ringV))
            return false;
        var place = _kind[u] == _kind[v] ? RemeshSurface.Rounded((_surface.At(u) + _surface.At(v)) * 0.5) : _surface.At(v);
        if (!FanAllows(ringU, u, v, place) || (place != _surface.At(v) && !FanAllows(ringV, v, u, place)))
            return false;
        if (_kind[u] == RemeshKind.Line && !LineAllows(ringU, u, v, place))
            return false;
        if (HasLimit && !StaysNear(ringU, u, v, place))
            return false;
        _surface.Collapse(h, ringU);
        _surface.Move(v, place);
        return true;
    }

    private bool MayGoInto(int h, int u, int v) => _kind[v] != RemeshKind.Locked && _kind[u] switch
    {
        RemeshKind.Free => true,
        RemeshKind.Line => _surface.IsLine(h) && _kind[v] is RemeshKind.Line or RemeshKind.Corner,
        _ => false,
    };

    /// <summary>The triangles of a vertex that goes to a place stay in shape, keep their side, and get no long edges or locked corners.</summary>
    private bool FanAllows(ReadOnlySpan<int> ring, int moving, int other, Vec3 place)
    {
        foreach (var h in ring)
        {
            int b = _surface.To(h), c = _surface.Apex(h);
            if (IsLocked(b) || IsLocked(c))
                return false;
            if (b == other || c == other)
                continue;
            Vec3 pb = _surface.At(b), pc = _surface.At(c);
            if ((pb - place).LengthSquared > _longSquared || (pc - place).LengthSquared > _longSquared)
                return false;
            if (!Keeps(_surface.AreaNormal(moving, b, c), place, pb, pc, CollapseTurn))
                return false;
        }

        return true;
    }

    private static bool Keeps(Vec3 before, Vec3 a, Vec3 b, Vec3 c, double leastTurn)
    {
        var after = Vec3.Cross(b - a, c - a);
        return Shape(a, b, c) > LeastShape && Vec3.Dot(before, after) >= leastTurn * before.Length * after.Length;
    }

    private static double Shape(Vec3 a, Vec3 b, Vec3 c)
    {
        var longest = Math.Max((b - a).LengthSquared, Math.Max((c - a).LengthSquared, (c - b).LengthSquared));
        return longest > 0 ? Vec3.Cross(b - a, c - a).Length / longest : 0;
    }

    /// <summary>A vertex that leaves its line lies near the segment that replaces both of its own.</summary>
    private bool LineAllows(ReadOnlySpan<int> ring, int u, int v, Vec3 place)
    {
        var most = Math.Min(_limitMm, _edgeMm / 20);
        foreach (var h in ring)
        {
            if (_surface.IsLine(h) && _surface.To(h) != v && ToSegment(_surface.At(u), _surface.At(_surface.To(h)), place) > most)
                return false;
            var previous = EdgeTable.Previous(h);
            if (_surface.IsLine(previous) && _surface.From(previous) != v && ToSegment(_surface.At(u), _surface.At(_surface.From(previous)), place) > most)
                return false;
        }

        return true;
    }

    private static double ToSegment(Vec3 p, Vec3 a, Vec3 b)
    {
        var d = b - a;
        var t = d.LengthSquared > 0 ? Math.Clamp(Vec3.Dot(p - a, d) / d.LengthSquared, 0, 1) : 0;
        return Vec3.Distance(p, a + (d * t));
    }

    /// <summary>The new edges' middles lie near the original, and the vertex that goes near one of the triangles that stay.</summary>
    private bool StaysNear(ReadOnlySpan<int> ringU, int u, int v, Vec3 place)
    {
        var gone = double.PositiveInfinity;
        foreach (var h in ringU)
        {
            int b = _surface.To(h), c = _surface.Apex(h);
            if (b == v || c == v)
                continue;
            if (!IsNear((_surface.At(b) + place) * 0.5) || !IsNear((_surface.At(c) + place) * 0.5))
                return false;
            gone = Math.Min(gone, PointTriangle.SquaredDistance(_surface.At(u), place, _surface.At(b), _surface.At(c)));
        }

        return gone <= _limitMm * _limitMm;
    }

    private bool IsNear(Vec3 p) => _original.NearestLocal(p, _limitMm).Found;

    private void Flip()
    {
        for (var h = 0; h < 3 * _surface.TriangleSlots; h++)
        {
            if ((h & 0xFFFF) == 0)
                _run.ThrowIfCancelled();
            if (IsEdge(h) && _surface.Opposite(h) >= 0 && !_surface.IsLine(h))
                TryFlip(h, _surface.Opposite(h));
        }
    }

    private void TryFlip(int h, int g)
    {
        int a = _surface.From(h), b = _surface.To(h), c = _surface.Apex(h), d = _surface.Apex(g);
        if (c == d || IsLocked(a) || IsLocked(b) || IsLocked(c) || IsLocked(d))
            return;
        // Σ(surplus²) changes by 2(c + d − a − b) + 4.
        if (_surface.Surplus(c) + _surface.Surplus(d) - _surface.Surplus(a) - _surface.Surplus(b) + 2 >= 0)
            return;
        var countC = _surface.Ring(c, _ringA);
        if (countC < 0 || _surface.AreNeighbours(_ringA.AsSpan(0, countC), d))
            return;
        Vec3 pa = _surface.At(a), pb = _surface.At(b), pc = _surface.At(c), pd = _surface.At(d);
        Vec3 first = _surface.AreaNormal(a, b, c), second = _surface.AreaNormal(b, a, d);
        if (Vec3.Dot(first, second) < FlipTurn * first.Length * second.Length)
            return;
        if (!Keeps(first + second, pa, pd, pc, FlipTurn) || !Keeps(first + second, pd, pb, pc, FlipTurn))
            return;
        if (HasLimit && !IsNear((pc + pd) * 0.5))
            return;
        _surface.Flip(h);
    }

    private void Relax()
    {
        var places = new Vec3[_surface.VertexCount];
        Partition.Ranges(_run, places.Length, BlockVertices, (_, from, to) =>
        {
            Span<int> ring = stackalloc int[RemeshSurface.MostTriangles];
            for (var v = from; v < to; v++)
                places[v] = _surface.IsUsed(v) ? RemeshSurface.Rounded(Place(v, ring)) : Vec3.Zero;
        });
        for (var v = 0; v < places.Length; v++)
            if (_surface.IsUsed(v) && places[v] != _surface.At(v) && MaySlide(v, places[v]))
                _surface.Move(v, places[v]);
    }

    private Vec3 Place(int v, Span<int> buffer)
    {
        var p = _surface.At(v);
        if (_kind[v] is RemeshKind.Corner or RemeshKind.Locked)
            return p;
        var count = _surface.Ring(v, buffer);
        if (count < 3)
            return p;
        var ring = buffer[..count];
        return _kind[v] == RemeshKind.Line ? OnLine(v, p, ring) : OnSurface(v, p, ring);
    }

    /// <summary>The neighbours' mean, less what of the way to it is along the normal, brought back to the original.</summary>
    private Vec3 OnSurface(int v, Vec3 p, ReadOnlySpan<int> ring)
    {
        Vec3 mean = Vec3.Zero, normal = Vec3.Zero;
        foreach (var h in ring)
        {
            mean += _surface.At(_surface.To(h));
            normal += _surface.AreaNormal(v, _surface.To(h), _surface.Apex(h));
        }

        normal = normal.Normalized();
        var way = (mean / ring.Length) - p;
        var slid = p + way - (normal * Vec3.Dot(way, normal));
        var nearest = _original.NearestLocal(slid, _edgeMm);
        if (!nearest.Found)
            return p;
        // Not through to the other side of a thin wall.
        var (a, b, c) = _original.Mesh.Triangle(nearest.Triangle);
        var facing = Vec3.Cross(_original.Mesh.Local(b) - _original.Mesh.Local(a), _original.Mesh.Local(c) - _original.Mesh.Local(a));
        return Vec3.Dot(facing, normal) > 0 ? nearest.PositionMm : p;
    }

    private Vec3 OnLine(int v, Vec3 p, ReadOnlySpan<int> ring)
    {
        var sum = Vec3.Zero;
        var ends = 0;
        foreach (var h in ring)
        {
            if (_surface.IsLine(h))
                Add(_surface.To(h));
            var previous = EdgeTable.Previous(h);
            // The edge that comes in has no partner that leaves where the surface ends.
            if (_surface.IsLine(previous) && _surface.Opposite(previous) < 0)
                Add(_surface.From(previous));
        }

        if (ends != 2 || _lines is null)
            return p;
        var nearest = _lines.NearestLocal(sum * 0.5, _edgeMm);
        return nearest.Found ? nearest.PositionMm : p;

        void Add(int w)
        {
            sum += _surface.At(w);
            ends++;
        }
    }

    private bool MaySlide(int v, Vec3 place)
    {
        var count = _surface.Ring(v, _ringA);
        for (var i = 0; i < count; i++)
        {
            int b = _surface.To(_ringA[i]), c = _surface.Apex(_ringA[i]);
            if (IsLocked(b) || IsLocked(c))
                return false;
            Vec3 pb = _surface.At(b), pc = _surface.At(c);
            Vec3 before = _surface.AreaNormal(v, b, c), after = Vec3.Cross(pb - place, pc - place);
            if (Vec3.Dot(before, after) < SlideTurn * before.Length * after.Length)
                return false;
            if (Shape(place, pb, pc) < Math.Min(LeastShape, Shape(_surface.At(v), pb, pc)))
                return false;
        }

        return count > 0;
    }
}
