using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Phantoms.Solids;

/// <summary>A flat figure in x and y, drawn out along z from −half to +half the height: wedges, letters, arrows.</summary>
/// <remarks>
/// The figure is one or more closed rings without crossings; a point is inside by the even-odd rule, so a ring within a
/// ring is a hole. Distance: to the nearest edge of the figure, then as for a cylinder. Measures: at offset 0 for every
/// figure; outwards for one convex ring by Steiner with M = π h + π/2 P.
/// </remarks>
public sealed class Prism : Solid
{
    private readonly (double X, double Y)[][] _rings;
    private readonly double _half;

    /// <param name="rings">Corners in order, last joined to first.</param>
    public Prism(IReadOnlyList<IReadOnlyList<(double X, double Y)>> rings, double heightMm)
    {
        if (rings.Count == 0 || rings.Any(r => r.Count < 3))
            throw new ArgumentException("A figure has at least one ring, a ring at least three corners.", nameof(rings));
        _rings = [.. rings.Select(r => r.ToArray())];
        _half = heightMm / 2;
        var box = Box3.Empty;
        foreach (var (x, y) in _rings.SelectMany(r => r))
            box = box.Including(new Vec3(x, y, -_half)).Including(new Vec3(x, y, _half));
        BoundsMm = box;
    }

    public override Box3 BoundsMm { get; }

    /// <summary>A ramp: right-angled at x = 0, with the given thickness (along y) at either end of its length (along x).</summary>
    public static Prism Wedge(double lengthMm, double thicknessAtStartMm, double thicknessAtEndMm, double widthMm) =>
        new([[(0, 0), (lengthMm, 0), (lengthMm, thicknessAtEndMm), (0, thicknessAtStartMm)]], widthMm);

    public override double DistanceMm(Vec3 pointMm)
    {
        double across = FigureDistance(pointMm.X, pointMm.Y), along = Math.Abs(pointMm.Z) - _half;
        double a = Math.Max(across, 0), b = Math.Max(along, 0);
        return Math.Min(Math.Max(across, along), 0) + Math.Sqrt((a * a) + (b * b));
    }

    public override SurfaceMeasures? ClosedForm(double offsetMm)
    {
        if (offsetMm != 0 && !(offsetMm > 0 && _rings.Length == 1 && IsConvex(_rings[0])))
            return null;
        // A hole lies inside its outline, so a ring's share of the area has the sign of the level it is nested at.
        double area = 0, perimeter = 0;
        var holes = 0;
        foreach (var ring in _rings)
        {
            var isHole = IsHole(ring);
            holes += isHole ? 1 : 0;
            area += isHole ? -RingArea(ring) : RingArea(ring);
            perimeter += Perimeter(ring);
        }

        var height = 2 * _half;
        var bodies = _rings.Length - holes;
        return offsetMm == 0
            ? new SurfaceMeasures(area * height, (2 * area) + (perimeter * height), 2 * (bodies - holes), bodies)
            : Steiner.Parallel(area * height, (2 * area) + (perimeter * height), Math.PI * (height + (perimeter / 2)), offsetMm);
    }

    private static double RingArea((double X, double Y)[] ring)
    {
        double twice = 0;
        for (var i = 0; i < ring.Length; i++)
        {
            var (p, q) = (ring[i], ring[(i + 1) % ring.Length]);
            twice += (p.X * q.Y) - (q.X * p.Y);
        }

        return Math.Abs(twice) / 2;
    }

    private static double Perimeter((double X, double Y)[] ring)
    {
        double sum = 0;
        for (var i = 0; i < ring.Length; i++)
        {
            var (p, q) = (ring[i], ring[(i + 1) % ring.Length]);
            sum += Math.Sqrt(((q.X - p.X) * (q.X - p.X)) + ((q.Y - p.Y) * (q.Y - p.Y)));
        }

        return sum;
    }

    private static bool IsConvex((double X, double Y)[] ring)
    {
        int left = 0, right = 0;
        for (var i = 0; i < ring.Length; i++)
        {
            var (a, b, c) = (ring[i], ring[(i + 1) % ring.Length], ring[(i + 2) % ring.Length]);
            var turn = ((b.X - a.X) * (c.Y - b.Y)) - ((b.Y - a.Y) * (c.X - b.X));
            left += turn > 0 ? 1 : 0;
            right += turn < 0 ? 1 : 0;
        }

        return left == 0 || right == 0;
    }

    private bool IsHole((double X, double Y)[] ring)
    {
        var (x, y) = ring[0];
        var inside = false;
        foreach (var other in _rings)
            if (!ReferenceEquals(other, ring))
                inside ^= Crosses(other, x, y);
        return inside;
    }

    private static bool Crosses((double X, double Y)[] ring, double x, double y)
    {
        var inside = false;
        for (var i = 0; i < ring.Length; i++)
        {
            var (p, q) = (ring[i], ring[(i + 1) % ring.Length]);
            if ((p.Y > y) != (q.Y > y) && x < p.X + ((y - p.Y) / (q.Y - p.Y) * (q.X - p.X)))
                inside = !inside;
        }

        return inside;
    }

    private double FigureDistance(double x, double y)
    {
        var nearest = double.PositiveInfinity;
        var inside = false;
        foreach (var ring in _rings)
        {
            inside ^= Crosses(ring, x, y);
            for (var i = 0; i < ring.Length; i++)
            {
                var (p, q) = (ring[i], ring[(i + 1) % ring.Length]);
                double ex = q.X - p.X, ey = q.Y - p.Y, px = x - p.X, py = y - p.Y;
                var t = Math.Clamp(((px * ex) + (py * ey)) / ((ex * ex) + (ey * ey)), 0, 1);
                double dx = px - (t * ex), dy = py - (t * ey);
                nearest = Math.Min(nearest, (dx * dx) + (dy * dy));
            }
        }

        return inside ? -Math.Sqrt(nearest) : Math.Sqrt(nearest);
    }
}
