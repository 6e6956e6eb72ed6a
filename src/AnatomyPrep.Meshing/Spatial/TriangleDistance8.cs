using System.Runtime.CompilerServices;
using System.Runtime.Intrinsics;
using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Meshing.Spatial;

/// <summary>How near eight triangles can be to a point, in float32, never more than the truth.</summary>
/// <remarks>
/// The distance to a triangle is the distance to its plane where the foot falls inside, else the least distance to its edges.
/// Both are computed for eight triangles at once; the foot counts as inside when rounding leaves it open, and the distance is
/// lowered by what rounding can add. Derivation of the margins: docs/methods/checks.md, "Eight at once".
/// Used to leave out triangles; what stays is measured in double. Edges are taken one after the other and corners read again,
/// so that everything alive fits 16 vector registers.
/// </remarks>
internal static class TriangleDistance8
{
    // 2^-18 = 64 roundings of 2^-24.
    private const float Rounding = 3.8146973e-6f;
    private const float Lower = 1 - 1e-6f;
    private const float Smallest = 1e-37f;

    /// <summary>Writes eight squares, NaN for lanes that hold no triangle.</summary>
    /// <param name="leaf">9 × 8 floats: x, y, z of corners a, b, c.</param>
    [MethodImpl(MethodImplOptions.NoInlining)]
    internal static void LeastSquared(ref float leaf, in Point8 p, Span<float> into)
    {
        var n = Cross(Edge(ref leaf, 0, 24), Edge(ref leaf, 24, 48));
        var sum = default(Sums);
        sum.Edges = Vector256.Create(float.PositiveInfinity);
        sum.Side = sum.Edges;
        var height = Dot(n, From(p, ref leaf, 0));
        AddEdge(ref leaf, 0, 24, p, n, ref sum);
        AddEdge(ref leaf, 24, 48, p, n, ref sum);
        AddEdge(ref leaf, 48, 0, p, n, ref sum);

        // Roundings grow with the farthest corner; those of the plane also with how badly the edges determine the normal.
        var size = Vector256.MaxNative(Vector256.Create(Smallest), Vector256.Sqrt(Dot(n, n)));
        var unsure = Vector256.Create(Rounding) * Vector256.Sqrt(sum.Farthest);
        var unsurePlane = unsure * (sum.Longest / size);
        var inside = Vector256.GreaterThanOrEqual(sum.Side, -((unsure + unsurePlane) * size * Vector256.Sqrt(sum.Longest)));
        var distance = Vector256.ConditionalSelect(inside, (Vector256.Abs(height) / size) - unsurePlane, Vector256.Sqrt(sum.Edges)) - unsure;
        distance = Vector256.MaxNative(Vector256<float>.Zero, distance);
        (distance * distance * Vector256.Create(Lower)).CopyTo(into);
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static void AddEdge(ref float leaf, nuint from, nuint to, in Point8 p, in Lanes n, ref Sums sum)
    {
        var edge = Edge(ref leaf, from, to);
        var toPoint = From(p, ref leaf, from);
        var length2 = Dot(edge, edge);
        sum.Longest = Vector256.MaxNative(length2, sum.Longest);
        sum.Farthest = Vector256.MaxNative(Dot(toPoint, toPoint), sum.Farthest);
        sum.Side = Vector256.MinNative(sum.Side, Dot(n, Cross(edge, toPoint)));
        var along = Dot(toPoint, edge) / Vector256.MaxNative(Vector256.Create(Smallest), length2);
        along = Vector256.MinNative(Vector256<float>.One, Vector256.MaxNative(Vector256<float>.Zero, along));
        var off = new Lanes(toPoint.X - (edge.X * along), toPoint.Y - (edge.Y * along), toPoint.Z - (edge.Z * along));
        sum.Edges = Vector256.MinNative(sum.Edges, Dot(off, off));
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static Lanes Edge(ref float leaf, nuint from, nuint to) => new(
        Vector256.LoadUnsafe(ref leaf, to) - Vector256.LoadUnsafe(ref leaf, from),
        Vector256.LoadUnsafe(ref leaf, to + 8) - Vector256.LoadUnsafe(ref leaf, from + 8),
        Vector256.LoadUnsafe(ref leaf, to + 16) - Vector256.LoadUnsafe(ref leaf, from + 16));

    /// <summary>p − corner; the low part of p comes last, so that nearness costs no digits.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static Lanes From(in Point8 p, ref float leaf, nuint corner) => new(
        p.X - Vector256.LoadUnsafe(ref leaf, corner) + p.LowX,
        p.Y - Vector256.LoadUnsafe(ref leaf, corner + 8) + p.LowY,
        p.Z - Vector256.LoadUnsafe(ref leaf, corner + 16) + p.LowZ);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static Vector256<float> Dot(in Lanes u, in Lanes v) => (u.X * v.X) + (u.Y * v.Y) + (u.Z * v.Z);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static Lanes Cross(in Lanes u, in Lanes v) =>
        new((u.Y * v.Z) - (u.Z * v.Y), (u.Z * v.X) - (u.X * v.Z), (u.X * v.Y) - (u.Y * v.X));

    private readonly record struct Lanes(Vector256<float> X, Vector256<float> Y, Vector256<float> Z);

    private struct Sums
    {
        public Vector256<float> Edges;
        public Vector256<float> Side;
        public Vector256<float> Longest;
        public Vector256<float> Farthest;
    }
}

/// <summary>A point in every lane: each coordinate as a float and the rest the float leaves out.</summary>
internal readonly struct Point8(in Vec3 p)
{
    public readonly Vector256<float> X = Vector256.Create((float)p.X);
    public readonly Vector256<float> Y = Vector256.Create((float)p.Y);
    public readonly Vector256<float> Z = Vector256.Create((float)p.Z);
    public readonly Vector256<float> LowX = Vector256.Create((float)(p.X - (float)p.X));
    public readonly Vector256<float> LowY = Vector256.Create((float)(p.Y - (float)p.Y));
    public readonly Vector256<float> LowZ = Vector256.Create((float)(p.Z - (float)p.Z));
}
