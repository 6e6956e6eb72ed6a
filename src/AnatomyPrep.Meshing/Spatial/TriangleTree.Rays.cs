using System.Numerics;
using System.Runtime.CompilerServices;
using System.Runtime.InteropServices;
using System.Runtime.Intrinsics;
using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Meshing.Spatial;

/// <content>Rays: boxes by slabs in float32, widened; triangles as <see cref="RayTriangle"/> says.</content>
public sealed partial class TriangleTree
{
    /// <summary>First triangle a ray meets between two distances; of several equally far the lowest index.</summary>
    /// <param name="direction">Any length but zero.</param>
    /// <param name="fromMm">Not negative.</param>
    public bool FirstHit(Vec3 originMm, Vec3 direction, double fromMm, double toMm, out RayHit hit)
    {
        hit = new(-1, double.PositiveInfinity, false);
        if (!TryAim(originMm, direction, fromMm, out var ray, out var slabs))
            return false;
        Span<Waiting> stack = stackalloc Waiting[DeepestStack];
        Span<float> near = stackalloc float[Width];
        var depth = 0;
        stack[depth++] = new(0, RootLevel, 0);
        while (depth > 0)
        {
            var next = stack[--depth];
            var nearest = Math.Min(toMm, hit.DistanceMm);
            if (next.LeastSquared > nearest)
                continue;
            if (next.Level == LeafLevel)
            {
                FirstInLeaf(ray, next.Node, fromMm, toMm, ref hit);
                continue;
            }

            var first = depth;
            for (var open = slabs.Meets(ref Box(next.Level, next.Node), (float)fromMm, Up(Math.Min(nearest, float.MaxValue)), near); open != 0; open &= open - 1)
            {
                var lane = BitOperations.TrailingZeroCount(open);
                stack[depth++] = new(near[lane], next.Level - 1, (next.Node * Width) + lane);
            }

            NearestLast(stack[first..depth]);
        }

        return hit.Triangle >= 0;
    }

    /// <summary>
    /// Every triangle a ray meets between two distances, nearest first, into <paramref name="hits"/>, which is emptied before. Where
    /// triangles join, exactly one is met, so that on a closed surface entering and leaving take turns.
    /// </summary>
    /// <param name="direction">Any length but zero.</param>
    /// <param name="fromMm">Not negative.</param>
    public void AllHits(Vec3 originMm, Vec3 direction, double fromMm, double toMm, List<RayHit> hits)
    {
        hits.Clear();
        if (!TryAim(originMm, direction, fromMm, out var ray, out var slabs))
            return;
        Span<long> stack = stackalloc long[DeepestStack];
        Span<float> near = stackalloc float[Width];
        var to = Up(Math.Min(toMm, float.MaxValue));
        var depth = 0;
        stack[depth++] = Entry(RootLevel, 0);
        while (depth > 0)
        {
            var (level, node) = Split(stack[--depth]);
            if (level == LeafLevel)
            {
                AllInLeaf(ray, node, fromMm, toMm, hits);
                continue;
            }

            for (var open = slabs.Meets(ref Box(level, node), (float)fromMm, to, near); open != 0; open &= open - 1)
                stack[depth++] = Entry(level - 1, (node * Width) + BitOperations.TrailingZeroCount(open));
        }

        hits.Sort((a, b) => a.DistanceMm != b.DistanceMm ? a.DistanceMm.CompareTo(b.DistanceMm) : a.Triangle.CompareTo(b.Triangle));
    }

    /// <summary>Whether a ray from the point crosses the surface an odd number of times: inside, when the surface is closed.</summary>
    /// <remarks>
    /// Exact for the point relative to the mesh's origin: the ray runs along +x and every decision is a sign of
    /// <see cref="ExactPredicates"/>. A point on the surface counts as moved by an infinitely small step of fixed direction.
    /// </remarks>
    public bool IsInsideByParity(Vec3 pointMm)
    {
        var crossed = new List<int>();
        CrossedAlongX(pointMm - Mesh.OriginMm, crossed);
        return (crossed.Count & 1) == 1;
    }

    /// <summary>Triangles that the ray along +x from a point of the mesh's own frame crosses, exactly, into an emptied list.</summary>
    internal void CrossedAlongX(in Vec3 p, List<int> triangles)
    {
        triangles.Clear();
        if (_order.Length == 0)
            return;
        var (low, high) = RoundOutward(p, p);
        high = high with { X = float.PositiveInfinity };
        Span<long> stack = stackalloc long[DeepestStack];
        var depth = 0;
        stack[depth++] = Entry(RootLevel, 0);
        while (depth > 0)
        {
            var (level, node) = Split(stack[--depth]);
            if (level != LeafLevel)
            {
                for (var open = Overlapping(ref Box(level, node), low, high); open != 0; open &= open - 1)
                    stack[depth++] = Entry(level - 1, (node * Width) + BitOperations.TrailingZeroCount(open));
                continue;
            }

            ref var corners = ref Leaf(node);
            for (var open = BoxesOf(ref corners).Meets(low, high); open != 0; open &= open - 1)
            {
                var lane = BitOperations.TrailingZeroCount(open);
                if (CrossesAlongX(p, CornerAt(ref corners, lane), CornerAt(ref corners, lane + 24), CornerAt(ref corners, lane + 48)))
                    triangles.Add(_order[(node * Width) + lane]);
            }
        }
    }

    /// <summary>Whether the triangle lies across the ray along +x from p, taken as moved by (e³, e, e²) with e as small as it takes.</summary>
    private static bool CrossesAlongX(in Vec3 p, in Vec3 a, in Vec3 b, in Vec3 c)
    {
        var facing = SideAlongX(a, b, p);
        if (facing == 0 || SideAlongX(b, c, p) != facing || SideAlongX(c, a, p) != facing)
            return false;
        var above = ExactPredicates.Orient3D(a, b, c, p);
        if (above == 0)
            above = ExactPredicates.Orient2D(a, b, c, 1);
        if (above == 0)
            above = ExactPredicates.Orient2D(a, b, c, 2);
        if (above == 0)
            above = facing;
        return above != facing;
    }

    private static int SideAlongX(in Vec3 u, in Vec3 v, in Vec3 p)
    {
        var side = ExactPredicates.Orient2D(u, v, p, 0);
        if (side != 0)
            return side;
        return u.Z != v.Z ? (u.Z > v.Z ? 1 : -1) : v.Y.CompareTo(u.Y);
    }

    private bool TryAim(Vec3 originMm, Vec3 direction, double fromMm, out RayTriangle ray, out Slabs slabs)
    {
        ArgumentOutOfRangeException.ThrowIfNegative(fromMm);
        var length = direction.Length;
        (ray, slabs) = (default, default);
        if (_order.Length == 0 || !originMm.IsFinite || !(length > 0 && double.IsFinite(length)))
            return false;
        var origin = originMm - Mesh.OriginMm;
        direction /= length;
        ray = new(origin, direction);
        slabs = new(origin, direction, _reach);
        return true;
    }

    private void FirstInLeaf(in RayTriangle ray, int leaf, double fromMm, double toMm, ref RayHit hit)
    {
        ref var corners = ref Leaf(leaf);
        var count = Math.Min(Width, _order.Length - (leaf * Width));
        for (var lane = 0; lane < count; lane++)
        {
            if (!ray.Meets(CornerAt(ref corners, lane), CornerAt(ref corners, lane + 24), CornerAt(ref corners, lane + 48), out var at, out var entering))
                continue;
            if (at < fromMm || at > toMm || at > hit.DistanceMm)
                continue;
            var triangle = _order[(leaf * Width) + lane];
            if (at < hit.DistanceMm || triangle < hit.Triangle)
                hit = new(triangle, at, entering);
        }
    }

    private void AllInLeaf(in RayTriangle ray, int leaf, double fromMm, double toMm, List<RayHit> hits)
    {
        ref var corners = ref Leaf(leaf);
        var count = Math.Min(Width, _order.Length - (leaf * Width));
        for (var lane = 0; lane < count; lane++)
        {
            if (ray.Meets(CornerAt(ref corners, lane), CornerAt(ref corners, lane + 24), CornerAt(ref corners, lane + 48), out var at, out var entering)
                && at >= fromMm && at <= toMm)
                hits.Add(new(_order[(leaf * Width) + lane], at, entering));
        }
    }

    /// <summary>A ray against eight boxes at once. Boxes are widened by what float32 rounding of ray and box can cost.</summary>
    private readonly struct Slabs
    {
        private readonly float _lowX, _lowY, _lowZ, _highX, _highY, _highZ;
        private readonly float _inverseX, _inverseY, _inverseZ;

        internal Slabs(in Vec3 origin, in Vec3 direction, float reach)
        {
            // Four units in the last place of the farthest coordinate.
            var margin = 4 * 1.1920929e-7 * (reach + Math.Max(Math.Abs(origin.X), Math.Max(Math.Abs(origin.Y), Math.Abs(origin.Z))));
            (_lowX, _lowY, _lowZ) = ((float)(origin.X - margin), (float)(origin.Y - margin), (float)(origin.Z - margin));
            (_highX, _highY, _highZ) = ((float)(origin.X + margin), (float)(origin.Y + margin), (float)(origin.Z + margin));
            (_inverseX, _inverseY, _inverseZ) = (Inverse(direction.X), Inverse(direction.Y), Inverse(direction.Z));
        }

        /// <summary>One bit for each box met between two distances; <paramref name="near"/> gets where, never too far.</summary>
        [MethodImpl(MethodImplOptions.AggressiveInlining)]
        internal uint Meets(ref float node, float from, float to, Span<float> near)
        {
            var enter = Vector256.Create(from);
            var leave = Vector256.Create(to);
            Clip(Vector256.LoadUnsafe(ref node), Vector256.LoadUnsafe(ref node, 24), _lowX, _highX, _inverseX, ref enter, ref leave);
            Clip(Vector256.LoadUnsafe(ref node, 8), Vector256.LoadUnsafe(ref node, 32), _lowY, _highY, _inverseY, ref enter, ref leave);
            Clip(Vector256.LoadUnsafe(ref node, 16), Vector256.LoadUnsafe(ref node, 40), _lowZ, _highZ, _inverseZ, ref enter, ref leave);
            enter *= Vector256.Create(1 - 1e-6f);
            leave *= Vector256.Create(1 + 1e-6f);
            enter.StoreUnsafe(ref MemoryMarshal.GetReference(near));
            return Vector256.LessThanOrEqual(enter, leave).ExtractMostSignificantBits();
        }

        // NaN of an empty lane must survive: a native minimum or maximum gives its second operand when one is NaN.
        [MethodImpl(MethodImplOptions.AggressiveInlining)]
        private static void Clip(
            Vector256<float> min, Vector256<float> max, float low, float high, float inverse, ref Vector256<float> enter, ref Vector256<float> leave)
        {
            var atMin = (min - Vector256.Create(high)) * Vector256.Create(inverse);
            var atMax = (max - Vector256.Create(low)) * Vector256.Create(inverse);
            enter = Vector256.MaxNative(enter, inverse > 0 ? atMin : atMax);
            leave = Vector256.MinNative(leave, inverse > 0 ? atMax : atMin);
        }

        /// <summary>1/d, finite: a ray along an axis drifts from it by far less than the margin.</summary>
        private static float Inverse(double d) => Math.Abs(d) > 1e-30 ? (float)(1 / d) : 1e30f;
    }
}
