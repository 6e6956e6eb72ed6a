using System.Runtime.CompilerServices;

namespace AnatomyPrep.Core.Geometry;

/// <summary>A point or direction in double precision; millimetres in LPS unless the name says otherwise.</summary>
public readonly record struct Vec3(double X, double Y, double Z)
{
    public static readonly Vec3 Zero;

    public double this[int axis]
    {
        [MethodImpl(MethodImplOptions.AggressiveInlining)]
        get => axis == 0 ? X : axis == 1 ? Y : axis == 2 ? Z : throw NoAxis(axis);
    }

    public double LengthSquared => (X * X) + (Y * Y) + (Z * Z);

    public double Length => Math.Sqrt(LengthSquared);

    public bool IsFinite => double.IsFinite(X) && double.IsFinite(Y) && double.IsFinite(Z);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Vec3 operator +(Vec3 a, Vec3 b) => new(a.X + b.X, a.Y + b.Y, a.Z + b.Z);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Vec3 operator -(Vec3 a, Vec3 b) => new(a.X - b.X, a.Y - b.Y, a.Z - b.Z);

    public static Vec3 operator -(Vec3 a) => new(-a.X, -a.Y, -a.Z);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Vec3 operator *(Vec3 a, double s) => new(a.X * s, a.Y * s, a.Z * s);

    public static Vec3 operator *(double s, Vec3 a) => a * s;

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Vec3 operator /(Vec3 a, double s) => new(a.X / s, a.Y / s, a.Z / s);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static double Dot(Vec3 a, Vec3 b) => (a.X * b.X) + (a.Y * b.Y) + (a.Z * b.Z);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static Vec3 Cross(Vec3 a, Vec3 b) =>
        new((a.Y * b.Z) - (a.Z * b.Y), (a.Z * b.X) - (a.X * b.Z), (a.X * b.Y) - (a.Y * b.X));

    public static Vec3 Min(Vec3 a, Vec3 b) => new(Math.Min(a.X, b.X), Math.Min(a.Y, b.Y), Math.Min(a.Z, b.Z));

    public static Vec3 Max(Vec3 a, Vec3 b) => new(Math.Max(a.X, b.X), Math.Max(a.Y, b.Y), Math.Max(a.Z, b.Z));

    public static Vec3 Lerp(Vec3 a, Vec3 b, double t) => a + ((b - a) * t);

    public static double Distance(Vec3 a, Vec3 b) => (a - b).Length;

    /// <summary>The unit vector along this one; zero stays zero.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public Vec3 Normalized()
    {
        var length = Length;
        return length > 0 ? this / length : Zero;
    }

    private static ArgumentOutOfRangeException NoAxis(int axis) => new(nameof(axis), axis, "An axis is 0, 1 or 2.");
}
