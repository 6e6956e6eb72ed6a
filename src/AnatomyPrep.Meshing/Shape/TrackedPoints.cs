using System.Runtime.InteropServices;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>Vertices of the input, each with a triangle of the simplified surface that it lies near.</summary>
/// <remarks>
/// Ciampalini, Cignoni, Montani, Scopigno, "Multiresolution decimation based on global error", The Visual Computer 13(5),
/// 1997: every point is handed on to a triangle of the patch that replaces its own, or the change is refused.
/// Shapes: points float3; linked lists, one a triangle. 4 bytes a triangle and 16 a point.
/// </remarks>
internal sealed class TrackedPoints
{
    private const int None = -1;

    private readonly TriangleTree _input;
    private readonly double _limit;
    private readonly double _squaredLimit;
    private readonly float[] _points;
    private readonly int[] _first;
    private readonly int[] _next;
    private readonly List<Vec3> _patch = [];
    private readonly List<int> _patchTriangles = [];
    private readonly List<(int Point, int Triangle)> _moves = [];

    internal TrackedPoints(TriangleTree input, float[] points, int triangles, double limitMm)
    {
        (_input, _limit) = (input, limitMm);
        _points = points;
        _squaredLimit = limitMm * limitMm;
        _first = new int[triangles];
        _next = new int[points.Length / 3];
        Array.Fill(_first, None);
    }

    internal void Assign(int point, int triangle) => (_next[point], _first[triangle]) = (_first[triangle], point);

    /// <summary>Whether all points at u and v find a triangle when v goes into u at x, y, z; changes nothing.</summary>
    internal bool Fits(
        int[] corners, float[] positions, ReadOnlySpan<int> ofU, ReadOnlySpan<int> ofV, int u, int v, float x, float y, float z)
    {
        SetPatch(corners, positions, ofU, ofV, u, v, x, y, z);
        _moves.Clear();
        var slot = 0;
        foreach (var corner in ofU)
            if (!Place(corner / 3, Joins(corners, corner / 3, u, v) ? None : slot++))
                return false;
        foreach (var corner in ofV)
            if (!Joins(corners, corner / 3, u, v) && !Place(corner / 3, slot++))
                return false;
        return PatchIsNear(new(x, y, z));
    }

    /// <summary>Hands the points on as <see cref="Fits"/> found for the same corners.</summary>
    internal void Move(ReadOnlySpan<int> ofU, ReadOnlySpan<int> ofV)
    {
        foreach (var corner in ofU)
            _first[corner / 3] = None;
        foreach (var corner in ofV)
            _first[corner / 3] = None;
        foreach (var (point, triangle) in _moves)
            Assign(point, triangle);
    }

    private static bool Joins(int[] corners, int t, int u, int v)
    {
        int a = corners[3 * t], b = corners[(3 * t) + 1], c = corners[(3 * t) + 2];
        return (a == u || b == u || c == u) && (a == v || b == v || c == v);
    }

    private void SetPatch(
        int[] corners, float[] positions, ReadOnlySpan<int> ofU, ReadOnlySpan<int> ofV, int u, int v, float x, float y, float z)
    {
        _patch.Clear();
        _patchTriangles.Clear();
        foreach (var corner in ofU)
            if (!Joins(corners, corner / 3, u, v))
                Add(corner / 3);
        foreach (var corner in ofV)
            if (!Joins(corners, corner / 3, u, v))
                Add(corner / 3);
        void Add(int t)
        {
            _patchTriangles.Add(t);
            for (var i = 3 * t; i < (3 * t) + 3; i++)
            {
                var w = corners[i];
                _patch.Add(w == u || w == v ? new(x, y, z) : new(positions[3 * w], positions[(3 * w) + 1], positions[(3 * w) + 2]));
            }
        }
    }

    private bool PatchIsNear(Vec3 place)
    {
        var patch = CollectionsMarshal.AsSpan(_patch);
        for (var i = 0; i < patch.Length; i += 3)
        {
            // An edge from the new place ends one triangle and begins the next: one of the two is enough.
            var end = patch[i] == place ? patch[i + 1] : patch[i + 1] == place ? patch[i + 2] : patch[i];
            if (!_input.NearestLocal((place + end) * 0.5, _limit).Found)
                return false;
        }

        return true;
    }

    /// <summary>Finds a triangle for each point of one; its own where that still serves, else the nearest.</summary>
    private bool Place(int triangle, int slot)
    {
        var patch = CollectionsMarshal.AsSpan(_patch);
        for (var point = _first[triangle]; point != None; point = _next[point])
        {
            Vec3 p = new(_points[3 * point], _points[(3 * point) + 1], _points[(3 * point) + 2]);
            if (slot != None && Squared(p, patch, slot) <= _squaredLimit)
            {
                _moves.Add((point, triangle));
                continue;
            }

            var (best, least) = (None, double.PositiveInfinity);
            for (var i = 0; i < _patchTriangles.Count; i++)
            {
                var squared = Squared(p, patch, i);
                if (squared < least)
                    (best, least) = (i, squared);
            }

            if (!(least <= _squaredLimit))
                return false;
            _moves.Add((point, _patchTriangles[best]));
        }

        return true;
    }

    private static double Squared(in Vec3 p, ReadOnlySpan<Vec3> patch, int slot) =>
        PointTriangle.SquaredDistance(p, patch[3 * slot], patch[(3 * slot) + 1], patch[(3 * slot) + 2]);
}
