using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Repair;
using AnatomyPrep.Meshing.Shape;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Marking;

/// <summary>A place on the outer surface for something flat, with its own axes: x to the right and y up as seen from outside, z outward.</summary>
/// <param name="CenterMm">Middle of the place, on its mean plane.</param>
/// <param name="LowMm">Lowest surface along z from the centre; not positive.</param>
/// <param name="HighMm">Highest; not negative.</param>
/// <param name="ThinMm">Least material below the surface, straight down; infinite where the line meets nothing more.</param>
internal readonly record struct TextSpot(Vec3 CenterMm, Vec3 X, Vec3 Y, Vec3 Z, double LowMm, double HighMm, double ThinMm)
{
    public double UnevenMm => HighMm - LowMm;
}

/// <summary>Finds and measures places for text.</summary>
/// <remarks>
/// A place is measured by a grid of lines along its z axis, <see cref="Columns"/> by <see cref="Rows"/>, from well above: each must meet
/// the outer surface first, within the place's own width of the plane, facing up; its z is then turned to the mean normal of what was met,
/// twice. A place counts as seen from outside when lines from its corners and middle outward meet nothing.
/// The automatic choice tries triangles at even steps of area and takes the place that is least uneven; equal ones by order.
/// Cost: some 200 lines a place.
/// </remarks>
internal sealed class TextSpots(Mesh mesh, double widthMm, double heightMm, Vec3 up, RunContext run)
{
    private const int Columns = 13;
    private const int Rows = 5;
    private const int Tries = 1500;

    // A place whose normal is nearly up has no up of its own: towards the front of the patient then.
    private const double NearlyUp = 0.95;

    private static readonly Vec3 s_front = new(0, -1, 0);

    private readonly TriangleTree _tree = TriangleTree.Build(mesh, run);
    private readonly Pieces _pieces = Pieces.Find(mesh, run);

    /// <summary>The place around the surface point nearest to the given one; null when it is not seen from outside or too uneven.</summary>
    public TextSpot? At(Vec3 placeMm)
    {
        var nearest = _tree.Nearest(placeMm);
        return _pieces.All[_pieces.PieceOfTriangle[nearest.Triangle]].FacesInward ? null : Measure(nearest.PositionMm, Normal(nearest.Triangle));
    }

    public TextSpot? Flattest()
    {
        var tries = EvenlySpread();
        var spots = new TextSpot?[tries.Count];
        Partition.Ranges(run, tries.Count, 16, (_, from, to) =>
        {
            for (var i = from; i < to; i++)
                spots[i] = Measure(Middle(tries[i]), Normal(tries[i]));
        });
        TextSpot? best = null;
        foreach (var spot in spots)
            if (spot is { } s && (best is null || s.UnevenMm < best.Value.UnevenMm - 1e-9))
                best = s;
        return best;
    }

    /// <summary>Outer triangles at even steps of the summed area.</summary>
    private List<int> EvenlySpread()
    {
        double total = 0;
        for (var t = 0; t < mesh.TriangleCount; t++)
            total += Area(t);
        var step = total / Tries;
        List<int> chosen = [];
        var (sum, next) = (0.0, step / 2);
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            sum += Area(t);
            if (sum < next)
                continue;
            chosen.Add(t);
            while (next <= sum)
                next += step;
        }

        return chosen;

        double Area(int t) => _pieces.All[_pieces.PieceOfTriangle[t]].FacesInward ? 0 : MeshMeasures.TriangleAreaMm2(mesh, t);
    }

    private TextSpot? Measure(Vec3 centerMm, Vec3 normal)
    {
        var hits = new List<RayHit>();
        TextSpot? spot = null;
        for (var round = 0; round < 3; round++)
        {
            var (x, y) = Axes(normal);
            var (low, high, thin) = (0.0, 0.0, double.PositiveInfinity);
            var (sumHeight, sumNormal) = (0.0, Vec3.Zero);
            var reachMm = widthMm;
            for (var i = 0; i < Columns * Rows; i++)
            {
                var at = centerMm + (x * (widthMm * (((i % Columns) / (Columns - 1.0)) - 0.5))) + (y * (heightMm * (((i / Columns) / (Rows - 1.0)) - 0.5)));
                _tree.AllHits(at + (normal * reachMm), -normal, 0, double.PositiveInfinity, hits);
                if (hits.Count == 0 || !hits[0].Entering || hits[0].DistanceMm > 2 * reachMm)
                    return null;
                var met = Normal(hits[0].Triangle);
                if (Vec3.Dot(met, normal) < 0.5 || _pieces.All[_pieces.PieceOfTriangle[hits[0].Triangle]].FacesInward)
                    return null;
                var height = reachMm - hits[0].DistanceMm;
                low = i == 0 ? height : Math.Min(low, height);
                high = i == 0 ? height : Math.Max(high, height);
                sumHeight += height;
                sumNormal += met;
                if (hits.Count > 1)
                    thin = Math.Min(thin, hits[1].DistanceMm - hits[0].DistanceMm);
            }

            var mean = sumHeight / (Columns * Rows);
            centerMm += normal * mean;
            spot = new(centerMm, x, y, normal, low - mean, high - mean, thin);
            normal = sumNormal.Normalized();
        }

        return spot is { } s && IsSeen(s) ? spot : null;
    }

    private bool IsSeen(TextSpot s)
    {
        var above = s.CenterMm + (s.Z * (s.HighMm + (1e-3 * heightMm)));
        foreach (var (i, j) in (ReadOnlySpan<(double, double)>)[(0, 0), (-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)])
            if (_tree.FirstHit(above + (s.X * (i * widthMm)) + (s.Y * (j * heightMm)), s.Z, 0, double.PositiveInfinity, out _))
                return false;
        return true;
    }

    private (Vec3 X, Vec3 Y) Axes(Vec3 normal)
    {
        var wanted = Math.Abs(Vec3.Dot(up, normal)) < NearlyUp ? up : Math.Abs(Vec3.Dot(s_front, normal)) < NearlyUp ? s_front : Placement.AnyPerpendicular(normal);
        // Right-handed with z towards the reader: seen from outside, x runs to the right of y.
        var x = Vec3.Cross(wanted, normal).Normalized();
        return (x, Vec3.Cross(normal, x));
    }

    private Vec3 Normal(int t)
    {
        var (a, b, c) = mesh.Triangle(t);
        return Vec3.Cross(mesh.Local(b) - mesh.Local(a), mesh.Local(c) - mesh.Local(a)).Normalized();
    }

    private Vec3 Middle(int t)
    {
        var (a, b, c) = mesh.Triangle(t);
        return (mesh.Vertex(a) + mesh.Vertex(b) + mesh.Vertex(c)) / 3;
    }
}
