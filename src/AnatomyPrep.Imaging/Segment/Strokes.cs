using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Imaging.Segment;

/// <summary>One drawing of a person, as data.</summary>
/// <param name="PointsMm">The path of the brush, LPS.</param>
/// <param name="RadiusMm">Of the ball or the disc.</param>
/// <param name="DiscNormal">Null for a ball; else the direction at right angles to the plane that is drawn in.</param>
/// <param name="ThicknessMm">Of a disc drawn on one plane only; half to each side.</param>
public sealed record Stroke(IReadOnlyList<Vec3> PointsMm, double RadiusMm, Vec3? DiscNormal = null, double ThicknessMm = 1);

/// <summary>Adds what a hand drew to a region, or erases it.</summary>
/// <remarks>
/// Ball: every sample within the radius of the path, in space.
/// Disc: points at the same height along the normal are one drawing on one plane; between two planes the drawing is interpolated
///   by its signed distance (Raya, Udupa, "Shape-based interpolation of multidimensional objects", IEEE TMI 9(1), 1990, from
///   memory): at the share s of the way, a sample is inside where (1 - s)·d1 + s·d2 is not positive, d the distance to the path on
///   that plane less the radius, seen along the normal. A single plane counts for its thickness.
/// In patient coordinates, so it means the same on a crop or another reconstruction of the same patient space, and a run
///   replays it. Cost: samples of the drawing's box times its points.
/// </remarks>
public static class Strokes
{
    private const string Step = "stroke";

    // Points nearer than this along the normal were drawn on one plane.
    private const double SamePlaneMm = 0.01;

    /// <param name="limit">Only samples with these HU are added; null adds whatever was drawn over.</param>
    /// <exception cref="BadInputException">No points, a point that is not finite, or a normal without length.</exception>
    public static RegionResult Apply(Volume volume, Region region, Stroke stroke, bool add, HuWindow? limit, RunContext run)
    {
        if (stroke.PointsMm.Count == 0 || stroke.PointsMm.Any(p => !p.IsFinite))
            throw new BadInputException(Step, "pointsMm", $"{stroke.PointsMm.Count} points", "Give at least one point, with finite coordinates.");
        if (stroke.DiscNormal is { } normal && !(normal.Length > 0))
            throw new BadInputException(Step, "normal", Seeds.Text(normal), "Give a direction of any length but zero.");
        var brush = stroke.DiscNormal is null ? (IBrush)new BallBrush(stroke) : new DiscBrush(stroke);
        var painted = region.Copy();
        Partition.For(run, volume.Slices, k => Paint(volume, painted, brush, add, limit, k));
        var effect = RegionMeasures.Effect(region, painted, volume.Map, run);
        return new(painted, effect, effect.Measures!["addedMm3"] + effect.Measures["removedMm3"] > 0 ? [] :
        [
            new(FindingCodes.StrokeWithoutEffect, Severity.Caution, "A stroke changed no sample.", "Check its coordinates (LPS, mm) and its radius against the sample spacing, or take it out of the plan."),
        ]);
    }

    private static void Paint(Volume volume, Region region, IBrush brush, bool add, HuWindow? limit, int k)
    {
        var map = volume.Map;
        for (var j = 0; j < volume.Rows; j++)
        {
            // A row is straight, so the box around its ends holds it.
            var row = Box3.Empty.Including(map.Map(0, j, k)).Including(map.Map(volume.Columns - 1, j, k));
            if (!row.Overlaps(brush.BoundsMm))
                continue;
            for (var i = 0; i < volume.Columns; i++)
            {
                var p = map.Map(i, j, k);
                if (!brush.BoundsMm.Contains(p))
                    continue;
                if (brush.Covers(p) && (!add || limit is not { } window || window.Contains(volume[i, j, k])))
                    region.Set(i, j, k, add);
            }
        }
    }

    private static double DistanceToPath(IReadOnlyList<Vec3> path, Vec3 p)
    {
        var nearest = Vec3.Distance(path[0], p);
        for (var s = 1; s < path.Count; s++)
        {
            Vec3 a = path[s - 1], along = path[s] - a;
            var t = along.LengthSquared > 0 ? Math.Clamp(Vec3.Dot(p - a, along) / along.LengthSquared, 0, 1) : 0;
            nearest = Math.Min(nearest, Vec3.Distance(a + (along * t), p));
        }

        return nearest;
    }

    private static Box3 Around(IEnumerable<Vec3> points, double reachMm)
    {
        var box = Box3.Empty;
        foreach (var p in points)
            box = box.Including(p);
        return box.Grown(reachMm);
    }

    private interface IBrush
    {
        Box3 BoundsMm { get; }

        bool Covers(Vec3 pointMm);
    }

    private sealed class BallBrush(Stroke stroke) : IBrush
    {
        public Box3 BoundsMm { get; } = Around(stroke.PointsMm, stroke.RadiusMm);

        public bool Covers(Vec3 pointMm) => DistanceToPath(stroke.PointsMm, pointMm) <= stroke.RadiusMm;
    }

    private sealed class DiscBrush : IBrush
    {
        private readonly Stroke _stroke;
        private readonly Vec3 _normal;
        private readonly (double HeightMm, Vec3[] Path)[] _planes;

        public DiscBrush(Stroke stroke)
        {
            _stroke = stroke;
            _normal = stroke.DiscNormal!.Value.Normalized();
            // In the order drawn within a plane; planes by height.
            var planes = new List<(double HeightMm, List<Vec3> Path)>();
            foreach (var p in stroke.PointsMm)
            {
                var height = Vec3.Dot(_normal, p);
                var plane = planes.FirstOrDefault(o => Math.Abs(o.HeightMm - height) <= SamePlaneMm);
                if (plane.Path is null)
                    planes.Add(plane = (height, []));
                plane.Path.Add(Flat(p));
            }

            _planes = [.. planes.OrderBy(o => o.HeightMm).Select(o => (o.HeightMm, o.Path.ToArray()))];
            BoundsMm = Around(stroke.PointsMm, stroke.RadiusMm + (stroke.ThicknessMm / 2));
        }

        public Box3 BoundsMm { get; }

        public bool Covers(Vec3 pointMm)
        {
            var height = Vec3.Dot(_normal, pointMm);
            var flat = Flat(pointMm);
            // At both ends, and for a single plane, half the thickness beyond.
            if (height < _planes[0].HeightMm || _planes.Length == 1)
                return Math.Abs(height - _planes[0].HeightMm) <= _stroke.ThicknessMm / 2 && Inside(0, flat) <= 0;
            if (height > _planes[^1].HeightMm)
                return height - _planes[^1].HeightMm <= _stroke.ThicknessMm / 2 && Inside(_planes.Length - 1, flat) <= 0;
            var above = 1;
            while (_planes[above].HeightMm < height)
                above++;
            var share = (height - _planes[above - 1].HeightMm) / (_planes[above].HeightMm - _planes[above - 1].HeightMm);
            return ((1 - share) * Inside(above - 1, flat)) + (share * Inside(above, flat)) <= 0;
        }

        private double Inside(int plane, Vec3 flat) => DistanceToPath(_planes[plane].Path, flat) - _stroke.RadiusMm;

        private Vec3 Flat(Vec3 p) => p - (_normal * Vec3.Dot(_normal, p));
    }
}
