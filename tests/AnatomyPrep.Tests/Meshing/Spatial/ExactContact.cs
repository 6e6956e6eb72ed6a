using System.Numerics;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Tests.Meshing.Spatial;

/// <summary>
/// The contact of two triangles by its definition: the common set is constructed in fractions of whole numbers, by cutting one
/// triangle with the planes that bound the other. Slow, and shares no line of thought with the product's way.
/// </summary>
internal static class ExactContact
{
    /// <summary>Corners with equal numbers are the same corner.</summary>
    public static Contact Of(Vec3[] a, Vec3[] b, int[] cornersA, int[] cornersB)
    {
        var p = a.Select(Point.From).ToArray();
        var q = b.Select(Point.From).ToArray();
        Point normalA = Normal(p), normalB = Normal(q);
        if (normalA.IsZero || normalB.IsZero)
            return Contact.None;

        var common = Cut(p, normalB, q[0], both: true);
        for (var i = 0; i < 3; i++)
            common = Cut(common, Point.Cross(normalB, q[(i + 1) % 3] - q[i]), q[i], both: false);
        if (common.Length == 0)
            return Contact.None;

        // The mean of the corners is an inner point of the common set, so it is inside both when anything is.
        var middle = common.Aggregate((x, y) => x + y) / common.Length;
        if (StrictlyInside(middle, p, normalA) && StrictlyInside(middle, q, normalB))
            return Point.Cross(normalA, normalB).IsZero ? Contact.Overlap : Contact.Crossing;
        var shared = Enumerable.Range(0, 3).Where(i => cornersB.Contains(cornersA[i])).Select(i => p[i]).ToArray();
        return shared.Length switch
        {
            0 => Contact.Touching,
            1 => common.All(c => (c - shared[0]).IsZero) ? Contact.None : Contact.Touching,
            _ => common.All(c => Between(c, shared[0], shared[1])) ? Contact.None : Contact.Touching,
        };
    }

    private static Point Normal(Point[] t) => Point.Cross(t[1] - t[0], t[2] - t[0]);

    private static bool Between(Point c, Point u, Point v) =>
        Point.Cross(v - u, c - u).IsZero && Point.Dot(c - u, v - u).Sign >= 0 && Point.Dot(c - v, u - v).Sign >= 0;

    private static bool StrictlyInside(Point c, Point[] t, Point normal) =>
        Point.Dot(c - t[0], normal).Sign == 0 &&
        Enumerable.Range(0, 3).All(i => Point.Dot(c - t[i], Point.Cross(normal, t[(i + 1) % 3] - t[i])).Sign > 0);

    /// <summary>The part of a convex polygon (or piece of line, or point) with (x − at)·normal ≥ 0, or = 0 when both sides cut.</summary>
    private static Point[] Cut(Point[] polygon, Point normal, Point at, bool both)
    {
        if (both)
            return Cut(Cut(polygon, normal, at, false), -normal, at, false);
        var kept = new List<Point>();
        for (var i = 0; i < polygon.Length; i++)
        {
            Point here = polygon[i], next = polygon[(i + 1) % polygon.Length];
            Fraction h = Point.Dot(here - at, normal), n = Point.Dot(next - at, normal);
            if (h.Sign >= 0)
                kept.Add(here);
            if (h.Sign * n.Sign < 0)
                kept.Add(here + ((next - here) * (h / (h - n))));
        }

        return [.. kept];
    }

    private readonly record struct Point(Fraction X, Fraction Y, Fraction Z)
    {
        public bool IsZero => X.Sign == 0 && Y.Sign == 0 && Z.Sign == 0;

        public static Point From(Vec3 v) => new(Fraction.From(v.X), Fraction.From(v.Y), Fraction.From(v.Z));

        public static Point operator +(Point a, Point b) => new(a.X + b.X, a.Y + b.Y, a.Z + b.Z);

        public static Point operator -(Point a, Point b) => new(a.X - b.X, a.Y - b.Y, a.Z - b.Z);

        public static Point operator -(Point a) => default(Point) with { X = -a.X, Y = -a.Y, Z = -a.Z };

        public static Point operator *(Point a, Fraction s) => new(a.X * s, a.Y * s, a.Z * s);

        public static Point operator /(Point a, int s) => a * new Fraction(1, s);

        public static Fraction Dot(Point a, Point b) => (a.X * b.X) + (a.Y * b.Y) + (a.Z * b.Z);

        public static Point Cross(Point a, Point b) => new((a.Y * b.Z) - (a.Z * b.Y), (a.Z * b.X) - (a.X * b.Z), (a.X * b.Y) - (a.Y * b.X));
    }

    private readonly record struct Fraction(BigInteger Top, BigInteger Bottom)
    {
        public int Sign => Top.Sign * Bottom.Sign;

        public static Fraction From(double x)
        {
            var shift = 0;
            for (; x != Math.Floor(x); shift++)
                x *= 2;
            return new(new BigInteger(x), BigInteger.One << shift);
        }

        public static Fraction operator +(Fraction a, Fraction b) => a.Bottom == b.Bottom
            ? new(a.Top + b.Top, a.Bottom)
            : Reduced((a.Top * b.Bottom) + (b.Top * a.Bottom), a.Bottom * b.Bottom);

        public static Fraction operator -(Fraction a, Fraction b) => a + (-b);

        public static Fraction operator -(Fraction a) => new(-a.Top, a.Bottom);

        public static Fraction operator *(Fraction a, Fraction b) => Reduced(a.Top * b.Top, a.Bottom * b.Bottom);

        public static Fraction operator /(Fraction a, Fraction b) => Reduced(a.Top * b.Bottom, a.Bottom * b.Top);

        private static Fraction Reduced(BigInteger top, BigInteger bottom)
        {
            if (bottom.IsOne)
                return new(top, bottom);
            var common = BigInteger.GreatestCommonDivisor(top, bottom);
            return new(top / common, bottom / common);
        }
    }
}
