using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Cloud;

/// <summary>Keeps the part of a surface where a figure given at its vertices is positive, cut along the line where it is 0.</summary>
/// <remarks>
/// A triangle with one or two positive corners is cut along a straight line between two of its edges; both triangles at an edge
///   share the new vertex. A kept vertex keeps all of its triangles or parts of them, and a new one lies on one line, so that a surface
///   that is a manifold around its positive vertices gives a manifold with border. New vertices lie on old triangles: nothing can cross that
///   did not before, up to the rounding of a float32.
/// Vertices near the line can be named to lie on it (<see cref="LineSnap"/>): edges there are not cut, the border runs through them.
/// The line stays <see cref="Clearance"/> of an edge away from its ends, so that no slivers come about.
/// Gives kept vertices in their order, then new ones by edge; triangles in their order. Vertices without triangle are left out.
/// Cost: O(triangles), on one core. Memory: 12 bytes a half-edge.
/// </remarks>
internal static class SheetClip
{
    /// <summary>Part of an edge that a cut stays away from its ends.</summary>
    internal const float Clearance = 0.1f;

    /// <param name="keep">One figure a vertex.</param>
    /// <param name="onLine">Vertices that lie on the line whatever their figure; null for none.</param>
    internal static Mesh Apply(Mesh mesh, float[] keep, bool[]? onLine = null)
    {
        var inside = new bool[mesh.VertexCount];
        for (var v = 0; v < inside.Length; v++)
            inside[v] = keep[v] > 0 && onLine?[v] is not true;
        var used = new bool[mesh.VertexCount];
        var triangles = mesh.TriangleArray;
        for (var t = 0; t < triangles.Length; t += 3)
            if (inside[triangles[t]] || inside[triangles[t + 1]] || inside[triangles[t + 2]])
                used[triangles[t]] = used[triangles[t + 1]] = used[triangles[t + 2]] = true;
        var number = new int[mesh.VertexCount];
        var kept = 0;
        for (var v = 0; v < number.Length; v++)
            number[v] = used[v] && (inside[v] || onLine?[v] is true) ? kept++ : -1;
        var cutter = new Cutter(mesh, keep, inside, number, kept);
        for (var t = 0; t < triangles.Length; t += 3)
            cutter.Add(triangles[t], triangles[t + 1], triangles[t + 2], mesh.Origins[t / 3]);
        return cutter.Build();
    }

    private sealed class Cutter
    {
        private readonly Mesh _mesh;
        private readonly float[] _keep;
        private readonly bool[] _inside;
        private readonly int[] _number;
        private readonly List<float> _positions;
        private readonly List<int> _triangles;
        private readonly List<Origin> _origins;
        private readonly Dictionary<long, int> _cuts = [];

        public Cutter(Mesh mesh, float[] keep, bool[] inside, int[] number, int kept)
        {
            _mesh = mesh;
            _keep = keep;
            _inside = inside;
            _number = number;
            _positions = new(3 * kept);
            for (var v = 0; v < number.Length; v++)
                if (number[v] >= 0)
                    _positions.AddRange(mesh.Positions.Slice(3 * v, 3));
            _triangles = new(mesh.Triangles.Length);
            _origins = new(mesh.TriangleCount);
        }

        public void Add(int a, int b, int c, Origin origin)
        {
            if (!_inside[a] && !_inside[b] && !_inside[c])
                return;
            var stay = (_number[a] >= 0 ? 1 : 0) | (_number[b] >= 0 ? 2 : 0) | (_number[c] >= 0 ? 4 : 0);
            switch (stay)
            {
                case 7:
                    Add(_number[a], _number[b], _number[c]);
                    break;
                case 1 or 2 or 4:
                    AddCorner(stay == 1 ? (a, b, c) : stay == 2 ? (b, c, a) : (c, a, b));
                    break;
                default:
                    AddSide(stay == 6 ? (a, b, c) : stay == 5 ? (b, c, a) : (c, a, b), origin);
                    break;
            }

            _origins.Add(origin);
        }

        public Mesh Build() => new(_mesh.OriginMm, [.. _positions], [.. _triangles], [.. _origins]);

        private void AddCorner((int Stays, int Next, int Last) t) =>
            Add(_number[t.Stays], Cut(t.Stays, t.Next), Cut(t.Stays, t.Last));

        // Four corners left: the diagonal from the vertex with the smaller number, so that it depends on nothing else. Three where one is on the line.
        private void AddSide((int Goes, int Next, int Last) t, Origin origin)
        {
            int next = _number[t.Next], last = _number[t.Last];
            if (!_inside[t.Next] || !_inside[t.Last])
            {
                Add(next, last, _inside[t.Next] ? Cut(t.Next, t.Goes) : Cut(t.Last, t.Goes));
                return;
            }

            int u = Cut(t.Next, t.Goes), v = Cut(t.Last, t.Goes);
            _origins.Add(origin);
            if (next < last)
            {
                Add(u, next, v);
                Add(next, last, v);
            }
            else
            {
                Add(u, next, last);
                Add(u, last, v);
            }
        }

        private void Add(int a, int b, int c)
        {
            _triangles.Add(a);
            _triangles.Add(b);
            _triangles.Add(c);
        }

        private int Cut(int stays, int goes)
        {
            var key = ((long)Math.Min(stays, goes) << 32) | (uint)Math.Max(stays, goes);
            if (_cuts.TryGetValue(key, out var known))
                return known;
            float a = _keep[stays], b = _keep[goes];
            var t = Math.Clamp((double)a / (a - b), Clearance, 1 - Clearance);
            var at = Vec3.Lerp(_mesh.Local(stays), _mesh.Local(goes), double.IsNaN(t) ? 0.5 : t);
            var v = _positions.Count / 3;
            _positions.Add((float)at.X);
            _positions.Add((float)at.Y);
            _positions.Add((float)at.Z);
            _cuts.Add(key, v);
            return v;
        }
    }
}
