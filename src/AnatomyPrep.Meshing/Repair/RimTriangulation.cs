using System.Runtime.Intrinsics;
using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Closes a rim with triangles between its own vertices.</summary>
/// <remarks>
/// Barequet and Sharir, "Filling gaps in the boundary of a polyhedron" (1995): dynamic programme over sub-polygons
/// i … k for the triangulation of least area; with angles, Liepa, "Filling holes in meshes" (2003): first the smallest
/// worst angle between neighbouring triangles, the surrounding ones included, then the least area (the area exactly; an angle
/// across a chord is weighed against the triangle that was best for the part beyond it). Angles enter as
/// 1 - cos in steps of 1/256 (5 degrees at the flat end), so that rounding in a flat rim does not decide instead of
/// the area. O(n^3) time, 56 n^2 bytes, up to <see cref="ExactLimit"/> rim edges, eight candidates at a time: each lane
/// holds the best of every eighth candidate by strict comparison, and lanes are merged by (angle, area, candidate),
/// which is what one loop over all candidates gives; lanes past the end count as forbidden.
/// A longer rim is first cut in two by the chord that is shortest against the shorter stretch of rim it spans, until
/// every part is short enough: O(min(n, 2048)^2) per cut; angles across such chords are not weighed.
/// </remarks>
internal static class RimTriangulation
{
    public const int ExactLimit = 400;
    private const int ChordCandidates = 2048;
    private const float Forbidden = 1e9f;
    private const float AngleSteps = 256;

    /// <param name="rim">Corners in the direction in which the new triangles run along the rim.</param>
    /// <param name="outside">Per rim edge i → i + 1: unit normal of the triangle beyond it, zero where there is none.</param>
    /// <param name="isForbidden">Chords that would double an edge of the surface; asked for pairs i &lt; k that are no rim edge.</param>
    /// <param name="weighAngles">False: least area only.</param>
    /// <returns>Corner triples i &lt; m &lt; k, or null when every triangulation needs a forbidden chord.</returns>
    public static List<(int A, int B, int C)>? Triangulate(Vec3[] rim, Vec3[] outside, Func<int, int, bool> isForbidden, bool weighAngles)
    {
        var triangles = new List<(int, int, int)>(Math.Max(0, rim.Length - 2));
        var parts = new Stack<int[]>();
        parts.Push([.. Enumerable.Range(0, rim.Length)]);
        while (parts.TryPop(out var part))
        {
            if (part.Length <= ExactLimit)
            {
                if (!TriangulateExactly(rim, outside, part, isForbidden, weighAngles, triangles))
                    return null;
                continue;
            }

            var (from, to) = BestChord(rim, part, isForbidden);
            if (from < 0)
                return null;
            parts.Push([.. part[..(from + 1)], .. part[to..]]);
            parts.Push(part[from..(to + 1)]);
        }

        return triangles;
    }

    private static (int From, int To) BestChord(Vec3[] rim, int[] part, Func<int, int, bool> isForbidden)
    {
        var n = part.Length;
        var along = new double[n + 1];
        for (var i = 0; i < n; i++)
            along[i + 1] = along[i] + Vec3.Distance(rim[part[i]], rim[part[(i + 1) % n]]);
        var stride = (n + ChordCandidates - 1) / ChordCandidates;
        // A chord that cuts off only a few corners brings the end no nearer.
        var smallest = n / 8;
        var (best, ratio) = ((-1, -1), double.PositiveInfinity);
        for (var i = 0; i < n; i += stride)
        {
            for (var k = i + smallest; k < n && n - (k - i) >= smallest; k += stride)
            {
                var arc = along[k] - along[i];
                var r = Vec3.Distance(rim[part[i]], rim[part[k]]) / Math.Max(double.Epsilon, Math.Min(arc, along[n] - arc));
                if (r >= ratio || isForbidden(part[i], part[k]))
                    continue;
                (best, ratio) = ((i, k), r);
            }
        }

        return best;
    }

    private static bool TriangulateExactly(
        Vec3[] rim, Vec3[] outside, int[] part, Func<int, int, bool> isForbidden, bool weighAngles, List<(int, int, int)> triangles)
    {
        var n = part.Length;
        if (n < 3)
            return true;
        var table = new Table(rim, part, weighAngles);
        for (var i = 0; i + 1 < n; i++)
            table.SetEdge(i, i + 1, NormalBeyond(rim, outside, part[i], part[i + 1]));
        var closing = NormalBeyond(rim, outside, part[n - 1], part[0]);
        for (var gap = 2; gap < n; gap++)
        {
            for (var i = 0; i + gap < n; i++)
            {
                var k = i + gap;
                var whole = gap == n - 1;
                table.Solve(i, k, whole ? closing : Vec3.Zero);
                if (!whole && IsChord(part[i], part[k], rim.Length) && isForbidden(part[i], part[k]))
                    table.Forbid(i, k);
            }
        }

        if (table.IsForbidden(0, n - 1))
            return false;
        var open = new Stack<(int, int)>();
        open.Push((0, n - 1));
        while (open.TryPop(out var span))
        {
            var (i, k) = span;
            if (k - i < 2)
                continue;
            var m = table.Split(i, k);
            triangles.Add((part[i], part[m], part[k]));
            open.Push((i, m));
            open.Push((m, k));
        }

        return true;
    }

    private static bool IsChord(int i, int k, int corners) => k - i != 1 && k - i != corners - 1;

    // A part's own edge is a rim edge, or a chord made by cutting, beyond which nothing is known yet.
    private static Vec3 NormalBeyond(Vec3[] rim, Vec3[] outside, int from, int to) =>
        (from + 1) % rim.Length == to ? outside[from] : Vec3.Zero;

    /// <summary>Per pair i &lt; k, in rows of both: worst angle step, area, normal of the triangle on the chord and where it is cut.</summary>
    private sealed class Table
    {
        private readonly int _stride;
        private readonly bool _weighAngles;
        private readonly float[] _x;
        private readonly float[] _y;
        private readonly float[] _z;
        private readonly int[] _cut;

        // Row i over m, and row k over m: the same values twice so that both walks are along memory.
        private readonly Rows _from;
        private readonly Rows _to;

        public Table(Vec3[] rim, int[] part, bool weighAngles)
        {
            _stride = part.Length + Vector256<float>.Count;
            _weighAngles = weighAngles;
            (_x, _y, _z) = (new float[_stride], new float[_stride], new float[_stride]);
            var center = part.Aggregate(Vec3.Zero, (sum, v) => sum + rim[v]) / part.Length;
            for (var i = 0; i < part.Length; i++)
            {
                var p = rim[part[i]] - center;
                (_x[i], _y[i], _z[i]) = ((float)p.X, (float)p.Y, (float)p.Z);
            }

            _cut = new int[part.Length * _stride];
            _from = new Rows(part.Length * _stride);
            _to = new Rows(part.Length * _stride);
        }

        public void SetEdge(int i, int k, Vec3 normal) => Set(i, k, 0, 0, normal, normal.LengthSquared > 0 ? 0 : 1);

        public void Forbid(int i, int k)
        {
            _from.Angle[(i * _stride) + k] = Forbidden;
            _to.Angle[(k * _stride) + i] = Forbidden;
        }

        public bool IsForbidden(int i, int k) => _from.Angle[(i * _stride) + k] >= Forbidden;

        public int Split(int i, int k) => _cut[(i * _stride) + k];

        public void Solve(int i, int k, Vec3 beyond)
        {
            var lanes = Vector256<float>.Count;
            var bestAngle = Vector256.Create(float.PositiveInfinity);
            var bestArea = bestAngle;
            var bestAt = Vector256.Create(float.MaxValue);
            var count = Vector256.Create(0f, 1, 2, 3, 4, 5, 6, 7);
            for (var m = i + 1; m < k; m += lanes)
            {
                Weigh(i, m, k, beyond, out var angle, out var area);
                var at = count + Vector256.Create((float)m);
                angle = Vector256.ConditionalSelect(Vector256.LessThan(at, Vector256.Create((float)k)), angle, Vector256.Create(float.PositiveInfinity));
                var better = Vector256.LessThan(angle, bestAngle)
                    | (Vector256.Equals(angle, bestAngle) & Vector256.LessThan(area, bestArea));
                bestAngle = Vector256.ConditionalSelect(better, angle, bestAngle);
                bestArea = Vector256.ConditionalSelect(better, area, bestArea);
                bestAt = Vector256.ConditionalSelect(better, at, bestAt);
            }

            var lane = 0;
            for (var other = 1; other < lanes; other++)
            {
                if ((bestAngle[other], bestArea[other], bestAt[other]).CompareTo((bestAngle[lane], bestArea[lane], bestAt[lane])) < 0)
                    lane = other;
            }

            // Nothing but forbidden candidates: the first stands for them all.
            var cut = bestAt[lane] < k ? (int)bestAt[lane] : i + 1;
            var normal = NormalOf(i, cut, k);
            _cut[(i * _stride) + k] = cut;
            Set(i, k, Math.Min(bestAngle[lane], Forbidden), bestArea[lane], normal, normal.LengthSquared > 0 ? 0 : 1);
        }

        private void Weigh(int i, int m, int k, Vec3 beyond, out Vector256<float> angle, out Vector256<float> area)
        {
            Vector256<float> x = Load(_x, m) - Vector256.Create(_x[i]), y = Load(_y, m) - Vector256.Create(_y[i]), z = Load(_z, m) - Vector256.Create(_z[i]);
            Vector256<float> cx = Vector256.Create(_x[k] - _x[i]), cy = Vector256.Create(_y[k] - _y[i]), cz = Vector256.Create(_z[k] - _z[i]);
            Vector256<float> nx = (y * cz) - (z * cy), ny = (z * cx) - (x * cz), nz = (x * cy) - (y * cx);
            var length = Vector256.Sqrt((nx * nx) + (ny * ny) + (nz * nz));
            int f = (i * _stride) + m, t = (k * _stride) + m;
            area = Load(_from.Area, f) + Load(_to.Area, t) + (length * 0.5f);
            angle = Vector256.Max(Load(_from.Angle, f), Load(_to.Angle, t));
            if (!_weighAngles)
            {
                // Triangles without area cost nothing, and are taken only where there is no other way.
                angle = Vector256.ConditionalSelect(Vector256.GreaterThan(length, Vector256<float>.Zero), angle, Vector256.Max(angle, Vector256<float>.One));
                return;
            }

            var alongFrom = (nx * Load(_from.X, f)) + (ny * Load(_from.Y, f)) + (nz * Load(_from.Z, f)) + (length * Load(_from.Free, f));
            var alongTo = (nx * Load(_to.X, t)) + (ny * Load(_to.Y, t)) + (nz * Load(_to.Z, t)) + (length * Load(_to.Free, t));
            var least = Vector256.Min(alongFrom, alongTo);
            if (beyond.LengthSquared > 0)
                least = Vector256.Min(least, (nx * (float)beyond.X) + (ny * (float)beyond.Y) + (nz * (float)beyond.Z));
            // A triangle without area has no angle: it counts as folded back, the worst there is.
            var bend = Vector256.ConditionalSelect(
                Vector256.GreaterThan(length, Vector256<float>.Zero), Vector256<float>.One - (least / length), Vector256.Create(2f));
            angle = Vector256.Max(angle, Vector256.Floor(bend * AngleSteps));
        }

        private Vec3 NormalOf(int i, int m, int k)
        {
            Vec3 At(int v) => new(_x[v], _y[v], _z[v]);
            return TriangleShape.Normal(At(i), At(m), At(k));
        }

        private void Set(int i, int k, float angle, float area, Vec3 normal, float free)
        {
            _from.Set((i * _stride) + k, angle, area, normal, free);
            _to.Set((k * _stride) + i, angle, area, normal, free);
        }

        private static Vector256<float> Load(float[] values, int at) => Vector256.Create(new ReadOnlySpan<float>(values, at, Vector256<float>.Count));
    }

    private sealed class Rows(int size)
    {
        public float[] Angle { get; } = new float[size];

        public float[] Area { get; } = new float[size];

        public float[] X { get; } = new float[size];

        public float[] Y { get; } = new float[size];

        public float[] Z { get; } = new float[size];

        // 1 where there is no normal to compare with: then the dot product counts as straight on.
        public float[] Free { get; } = new float[size];

        public void Set(int at, float angle, float area, Vec3 normal, float free)
        {
            (Angle[at], Area[at], Free[at]) = (angle, area, free);
            (X[at], Y[at], Z[at]) = ((float)normal.X, (float)normal.Y, (float)normal.Z);
        }
    }
}
