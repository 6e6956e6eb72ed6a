namespace AnatomyPrep.Core.Geometry;

/// <summary>Affine map p → X·p.X + Y·p.Y + Z·p.Z + Translation; the columns are the images of the unit vectors.</summary>
public readonly record struct Affine3(Vec3 X, Vec3 Y, Vec3 Z, Vec3 Translation)
{
    public static readonly Affine3 Identity = new(new Vec3(1, 0, 0), new Vec3(0, 1, 0), new Vec3(0, 0, 1), Vec3.Zero);

    /// <summary>Negative for a map that turns left into right.</summary>
    public double Determinant => Vec3.Dot(X, Vec3.Cross(Y, Z));

    public static Affine3 Translate(Vec3 by) => Identity with { Translation = by };

    public static Affine3 Scale(double factor) =>
        new(new Vec3(factor, 0, 0), new Vec3(0, factor, 0), new Vec3(0, 0, factor), Vec3.Zero);

    /// <summary>Rotation about an axis through the origin, right-handed (Rodrigues' formula).</summary>
    public static Affine3 Rotate(Vec3 axis, double angleRad)
    {
        var u = axis.Normalized();
        var (s, c) = Math.SinCos(angleRad);
        Vec3 Turn(Vec3 p) => (p * c) + (Vec3.Cross(u, p) * s) + (u * (Vec3.Dot(u, p) * (1 - c)));
        return new(Turn(Identity.X), Turn(Identity.Y), Turn(Identity.Z), Vec3.Zero);
    }

    /// <summary>Reflection in the plane through <paramref name="point"/> with the given normal.</summary>
    public static Affine3 Mirror(Vec3 point, Vec3 normal)
    {
        var n = normal.Normalized();
        Vec3 Flip(Vec3 p) => p - (n * (2 * Vec3.Dot(n, p)));
        return new(Flip(Identity.X), Flip(Identity.Y), Flip(Identity.Z), n * (2 * Vec3.Dot(n, point)));
    }

    public Vec3 Map(Vec3 p) => (X * p.X) + (Y * p.Y) + (Z * p.Z) + Translation;

    public Vec3 MapDirection(Vec3 d) => (X * d.X) + (Y * d.Y) + (Z * d.Z);

    /// <summary>The map that applies <paramref name="first"/>, then this one.</summary>
    public Affine3 After(Affine3 first) => new(MapDirection(first.X), MapDirection(first.Y), MapDirection(first.Z), Map(first.Translation));

    /// <exception cref="InvalidOperationException">The map is singular.</exception>
    public Affine3 Inverse()
    {
        var d = Determinant;
        if (d == 0 || !double.IsFinite(d))
            throw new InvalidOperationException("A singular map has no inverse.");
        var r0 = Vec3.Cross(Y, Z) / d;
        var r1 = Vec3.Cross(Z, X) / d;
        var r2 = Vec3.Cross(X, Y) / d;
        var t = new Vec3(-Vec3.Dot(r0, Translation), -Vec3.Dot(r1, Translation), -Vec3.Dot(r2, Translation));
        return new(new Vec3(r0.X, r1.X, r2.X), new Vec3(r0.Y, r1.Y, r2.Y), new Vec3(r0.Z, r1.Z, r2.Z), t);
    }
}
