namespace AnatomyPrep.Core.Geometry;

/// <summary>An axis-aligned box; empty when a minimum exceeds its maximum.</summary>
public readonly record struct Box3(Vec3 Min, Vec3 Max)
{
    public static readonly Box3 Empty = new(
        new Vec3(double.PositiveInfinity, double.PositiveInfinity, double.PositiveInfinity),
        new Vec3(double.NegativeInfinity, double.NegativeInfinity, double.NegativeInfinity));

    public bool IsEmpty => Min.X > Max.X || Min.Y > Max.Y || Min.Z > Max.Z;

    public Vec3 Center => (Min + Max) * 0.5;

    public Vec3 Size => IsEmpty ? Vec3.Zero : Max - Min;

    public double Diagonal => Size.Length;

    public Box3 Including(Vec3 p) => new(Vec3.Min(Min, p), Vec3.Max(Max, p));

    public Box3 Including(Box3 other) => new(Vec3.Min(Min, other.Min), Vec3.Max(Max, other.Max));

    public Box3 Grown(double marginMm) =>
        new(Min - new Vec3(marginMm, marginMm, marginMm), Max + new Vec3(marginMm, marginMm, marginMm));

    public bool Contains(Vec3 p) =>
        p.X >= Min.X && p.X <= Max.X && p.Y >= Min.Y && p.Y <= Max.Y && p.Z >= Min.Z && p.Z <= Max.Z;

    public bool Overlaps(Box3 other) =>
        Min.X <= other.Max.X && other.Min.X <= Max.X &&
        Min.Y <= other.Max.Y && other.Min.Y <= Max.Y &&
        Min.Z <= other.Max.Z && other.Min.Z <= Max.Z;
}
