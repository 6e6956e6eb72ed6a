using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>A named point on both surfaces, in patient coordinates; NaN where none lies within the limit.</summary>
/// <param name="SourceOffMm">From the point given to the source's surface, without sign.</param>
/// <param name="ModelOffMm">From the point given to the model's surface.</param>
public sealed record MeasuredLandmark(string Name, Vec3 GivenMm, Vec3 SourceMm, double SourceOffMm, Vec3 ModelMm, double ModelOffMm);

/// <summary>A distance of two named points on both surfaces, with the budget of its uncertainty after JCGM 100:2008 (GUM).</summary>
/// <param name="FromColumnsMm">Standard uncertainty that half a step along the columns adds, of both ends together; likewise rows and slices.</param>
/// <param name="StandardMm">Root of the sum of their squares.</param>
/// <param name="ExpandedMm">With a coverage factor of 2.</param>
public sealed record MeasuredDistance(
    string From, string To, double SourceMm, double ModelMm, double DifferenceMm,
    double FromColumnsMm, double FromRowsMm, double FromSlicesMm, double StandardMm, double ExpandedMm);

/// <summary>The angle at a named point between two others, 0 to 180°, on both surfaces, with its budget as of a distance.</summary>
/// <param name="At">The vertex.</param>
public sealed record MeasuredAngle(
    string From, string At, string To, double SourceDeg, double ModelDeg, double DifferenceDeg,
    double FromColumnsDeg, double FromRowsDeg, double FromSlicesDeg, double StandardDeg, double ExpandedDeg);

/// <summary>Which way round four points stand that lie in no plane: what a mirror image changes and no turn does.</summary>
/// <param name="SourceMm3">Signed volume of their tetrahedron on the source, a sixth of det[p1 − p0, p2 − p0, p3 − p0].</param>
/// <param name="ModelMm3">On the model as its files hold it: placed, turned, scaled, mirrored.</param>
/// <param name="ExpandedMm3">Of the source's, with a coverage factor of 2; always smaller than that.</param>
public sealed record Handedness(IReadOnlyList<string> Points, double SourceMm3, double ModelMm3, double ExpandedMm3, bool Mirrored);

/// <summary>Landmarks, distances and angles of a model beside those of its source.</summary>
/// <param name="Handedness">Null where no four points were found that lie in no plane.</param>
public sealed record LandmarkFigures(
    IReadOnlyList<MeasuredLandmark> Landmarks, IReadOnlyList<MeasuredDistance> Distances, IReadOnlyList<MeasuredAngle> Angles, Handedness? Handedness, IReadOnlyList<Finding> Findings);

/// <summary>The two surfaces that points are measured on, and what is known of how finely the source was sampled.</summary>
/// <param name="Model">Where the images are: what the plan's steps did to its place is undone.</param>
/// <param name="ModelFromPatient">What they did; the model's files hold it after this.</param>
/// <param name="SliceThicknessMm">Null where not known: the step between slices counts.</param>
public sealed record LandmarkSurfaces(TriangleTree Source, TriangleTree Model, Affine3 ModelFromPatient, IndexToPatient Map, double? SliceThicknessMm);

/// <summary>Measures named points, and the distances and angles between them, on the source's surface and on the model's.</summary>
/// <remarks>
/// A landmark on a surface is that surface's point nearest to where it was put. The model has to be where the images are (<see cref="KnownPlacement"/>):
///   its distances then are true size, whatever the scale it is printed in.
/// Uncertainty after JCGM 100:2008 (from memory): where a surface lies is known to a sample's step, so each index is taken as evenly distributed over half
///   a step to both sides, u = ½/√3 of a step (4.3.7). What is measured changes by the gradient g with each of its points, so (5.1.2)
///   u² = Σ over points of ((g·a)² + (g·b)² + (g·c)²)/12, with the steps a, b, c of columns, rows and slices as vectors: a tilted gantry is in c. Where slices are
///   uneven c is the widest step beside the point. Points are taken as independent; U = 2·u, about 95 % (6.2). That a person may put the point elsewhere is not in it.
/// A slice thicker than its step blurs over its thickness: give it, and c is lengthened to it along itself.
/// Gradients: of a distance the unit vector along it, at both ends; of an angle the unit vector in its plane across each leg over the leg's length, and at the
///   vertex minus the sum of both; of a tetrahedron's volume a sixth of the cross product of two edges of the face opposite.
/// Near 0° and 180° an angle has no gradient (GUM 5.1.2, note): where it lies within U of either, u is the root mean square of how far it leaves
///   the straight line, with the part of each step that lies across the leg.
/// </remarks>
public static class LandmarkCheck
{
    private const double Coverage = 2;
    private const double Degrees = 180 / Math.PI;

    /// <summary>Farther from a surface than this a point is not on it; ours.</summary>
    public const double FarMm = 5;

    /// <param name="toleranceMm">Largest difference for the purpose, beyond the expanded uncertainty; of an angle what it makes across the shorter leg.</param>
    public static LandmarkFigures Measure(LandmarkList asked, LandmarkSurfaces on, double toleranceMm, RunContext run)
    {
        run.ThrowIfCancelled();
        var findings = new List<Finding>();
        MeasuredLandmark[] points = [.. asked.Points.Select(l => On(l, on, findings))];
        var distances = new List<MeasuredDistance>();
        foreach (var (from, to) in asked.Distances)
            if (Distance(points[from], points[to], on, findings) is { } distance)
            {
                distances.Add(distance);
                Judge(distance, points[from].GivenMm, toleranceMm, findings);
            }

        var angles = new List<MeasuredAngle>();
        foreach (var (from, at, to) in asked.Angles)
            if (Angle(points[from], points[at], points[to], on, findings) is { } angle)
            {
                angles.Add(angle);
                var shorterMm = Math.Min(Vec3.Distance(points[from].SourceMm, points[at].SourceMm), Vec3.Distance(points[to].SourceMm, points[at].SourceMm));
                Judge(angle, points[at].GivenMm, toleranceMm / shorterMm * Degrees, findings);
            }

        return new(points, distances, angles, HandednessOf(points, on), findings);
    }

    private static MeasuredLandmark On(Landmark landmark, LandmarkSurfaces on, List<Finding> findings)
    {
        var (onSource, sourceOff) = Nearest(landmark, on.Source, "images' surface", findings);
        var (onModel, modelOff) = Nearest(landmark, on.Model, "model", findings);
        return new(landmark.Name, landmark.AtMm, onSource, sourceOff, onModel, modelOff);
    }

    private static (Vec3 AtMm, double OffMm) Nearest(Landmark landmark, TriangleTree surface, string what, List<Finding> findings)
    {
        var nearest = surface.Nearest(landmark.AtMm, double.PositiveInfinity);
        if (nearest.Found && nearest.DistanceMm <= FarMm)
            return (nearest.PositionMm, nearest.DistanceMm);
        findings.Add(new(FindingCodes.LandmarkFar, Severity.Caution,
            FormattableString.Invariant($"Landmark {landmark.Name} lies {nearest.DistanceMm:F1} mm from the {what}, more than {FarMm:F0} mm: it is not measured there."),
            "Check its coordinates (LPS, mm); on the model it may have been cut away.", new Place(PositionMm: landmark.AtMm)));
        return (new(double.NaN, double.NaN, double.NaN), nearest.DistanceMm);
    }

    private static MeasuredDistance? Distance(MeasuredLandmark from, MeasuredLandmark to, LandmarkSurfaces on, List<Finding> findings)
    {
        if (!IsOnBoth(from, to) || !AreApart(from, to, 0, findings))
            return null;
        double source = Vec3.Distance(from.SourceMm, to.SourceMm), model = Vec3.Distance(from.ModelMm, to.ModelMm);
        var u = Length(from.SourceMm, to.SourceMm, on);
        return new(from.Name, to.Name, source, model, model - source, u.Columns, u.Rows, u.Slices, u.Standard, Coverage * u.Standard);
    }

    private static Budget Length(Vec3 from, Vec3 to, LandmarkSurfaces on)
    {
        var e = (to - from).Normalized();
        return Budget.Of([(from, -e), (to, e)], on);
    }

    private static MeasuredAngle? Angle(MeasuredLandmark from, MeasuredLandmark at, MeasuredLandmark to, LandmarkSurfaces on, List<Finding> findings)
    {
        if (!IsOnBoth(from, at, to))
            return null;
        // Legs that are not longer than what is known of their ends have no direction.
        if (!AreApart(at, from, Coverage * Length(at.SourceMm, from.SourceMm, on).Standard, findings) || !AreApart(at, to, Coverage * Length(at.SourceMm, to.SourceMm, on).Standard, findings))
            return null;
        double source = Between(from.SourceMm, at.SourceMm, to.SourceMm), model = Between(from.ModelMm, at.ModelMm, to.ModelMm);
        var u = OfAngle(from.SourceMm, at.SourceMm, to.SourceMm, source, on);
        return new(from.Name, at.Name, to.Name, Degrees * source, Degrees * model, Degrees * (model - source),
            Degrees * u.Columns, Degrees * u.Rows, Degrees * u.Slices, Degrees * u.Standard, Degrees * Coverage * u.Standard);
    }

    private static double Between(Vec3 from, Vec3 at, Vec3 to)
    {
        Vec3 one = from - at, other = to - at;
        return Math.Atan2(Vec3.Cross(one, other).Length, Vec3.Dot(one, other));
    }

    private static Budget OfAngle(Vec3 from, Vec3 at, Vec3 to, double angle, LandmarkSurfaces on)
    {
        double one = Vec3.Distance(from, at), other = Vec3.Distance(to, at);
        Vec3 e = (from - at) / one, f = (to - at) / other;
        var g = -(f - (e * Vec3.Dot(e, f))).Normalized() / one;
        var h = -(e - (f * Vec3.Dot(e, f))).Normalized() / other;
        var u = Budget.Of([(from, g), (at, -(g + h)), (to, h)], on);
        return Math.Min(angle, Math.PI - angle) > Coverage * u.Standard
            ? u
            : Budget.Across([(from, 1 / one), (at, angle < 1 ? Math.Abs((1 / one) - (1 / other)) : (1 / one) + (1 / other)), (to, 1 / other)], e, on);
    }

    /// <summary>Four of the points: the first, the one farthest from it, from the line through both, and from the plane through these.</summary>
    private static Handedness? HandednessOf(MeasuredLandmark[] points, LandmarkSurfaces on)
    {
        MeasuredLandmark[] both = [.. points.Where(p => IsOnBoth(p))];
        if (both.Length < 4)
            return null;
        var p0 = both[0];
        var p1 = both.MaxBy(p => Vec3.Distance(p.SourceMm, p0.SourceMm))!;
        var along = p1.SourceMm - p0.SourceMm;
        var p2 = both.MaxBy(p => Vec3.Cross(along, p.SourceMm - p0.SourceMm).Length)!;
        var normal = Vec3.Cross(along, p2.SourceMm - p0.SourceMm);
        var p3 = both.MaxBy(p => Math.Abs(Vec3.Dot(normal, p.SourceMm - p0.SourceMm)))!;
        var source = Volume([p0.SourceMm, p1.SourceMm, p2.SourceMm, p3.SourceMm]);
        var inPlace = Volume([p0.ModelMm, p1.ModelMm, p2.ModelMm, p3.ModelMm]);
        var expanded = Coverage * OfVolume(p0.SourceMm, p1.SourceMm, p2.SourceMm, p3.SourceMm, on).Standard;
        // Nearer to flat than this, either surface would give either sign.
        if (!(Math.Abs(source) > expanded && Math.Abs(inPlace) > expanded))
            return null;
        var model = inPlace * on.ModelFromPatient.Determinant;
        return new([p0.Name, p1.Name, p2.Name, p3.Name], source, model, expanded, Math.Sign(source) != Math.Sign(model));
    }

    private static double Volume(Vec3[] p) => Vec3.Dot(p[1] - p[0], Vec3.Cross(p[2] - p[0], p[3] - p[0])) / 6;

    private static Budget OfVolume(Vec3 p0, Vec3 p1, Vec3 p2, Vec3 p3, LandmarkSurfaces on)
    {
        Vec3 a = p1 - p0, b = p2 - p0, c = p3 - p0;
        Vec3 one = Vec3.Cross(b, c) / 6, two = Vec3.Cross(c, a) / 6, three = Vec3.Cross(a, b) / 6;
        return Budget.Of([(p0, -(one + two + three)), (p1, one), (p2, two), (p3, three)], on);
    }

    private static bool IsOnBoth(params ReadOnlySpan<MeasuredLandmark> points)
    {
        foreach (var p in points)
            if (!p.SourceMm.IsFinite || !p.ModelMm.IsFinite)
                return false;
        return true;
    }

    private static bool AreApart(MeasuredLandmark one, MeasuredLandmark other, double moreThanMm, List<Finding> findings)
    {
        var apart = Math.Min(Vec3.Distance(one.SourceMm, other.SourceMm), Vec3.Distance(one.ModelMm, other.ModelMm));
        if (apart > moreThanMm)
            return true;
        findings.Add(new(FindingCodes.LandmarksCoincide, Severity.Caution,
            FormattableString.Invariant($"Landmarks {one.Name} and {other.Name} lie {apart:F2} mm apart on a surface, not more than the {moreThanMm:F2} mm that is known of it: what was asked for between them is not measured."),
            "Put them farther apart, or measure something longer.", new Place(PositionMm: one.GivenMm)));
        return false;
    }

    private static void Judge(MeasuredDistance d, Vec3 atMm, double toleranceMm, List<Finding> findings)
    {
        if (Math.Abs(d.DifferenceMm) > toleranceMm + d.ExpandedMm)
            findings.Add(new(FindingCodes.DistanceDiffers, Severity.Caution,
                FormattableString.Invariant($"{d.From} to {d.To}: {d.SourceMm:F2} mm on the images, {d.ModelMm:F2} mm on the model; the difference of {d.DifferenceMm:F2} mm is more than {toleranceMm:F2} mm and its uncertainty of {d.ExpandedMm:F2} mm."),
                "Look which step of the plan moved the surface at either end; do not measure this distance on the model.", new Place(PositionMm: atMm)));
    }

    private static void Judge(MeasuredAngle a, Vec3 atMm, double toleranceDeg, List<Finding> findings)
    {
        if (Math.Abs(a.DifferenceDeg) > toleranceDeg + a.ExpandedDeg)
            findings.Add(new(FindingCodes.AngleDiffers, Severity.Caution,
                FormattableString.Invariant($"{a.From}, {a.At}, {a.To}: {a.SourceDeg:F2}° on the images, {a.ModelDeg:F2}° on the model; the difference of {a.DifferenceDeg:F2}° is more than the {toleranceDeg:F2}° that the tolerance makes across the shorter leg and its uncertainty of {a.ExpandedDeg:F2}°."),
                "Look which step of the plan moved the surface at the three points; do not measure this angle on the model.", new Place(PositionMm: atMm)));
    }

    /// <summary>Standard uncertainty of a figure by what half a step along columns, rows and slices adds, of all its points together.</summary>
    private readonly record struct Budget(double Columns, double Rows, double Slices)
    {
        // Half a step to both sides, evenly distributed: half the step over the root of 3.
        private static readonly double s_evenly = 1 / (2 * Math.Sqrt(3));

        public double Standard => Math.Sqrt((Columns * Columns) + (Rows * Rows) + (Slices * Slices));

        public static Budget Of(ReadOnlySpan<(Vec3 AtMm, Vec3 Gradient)> points, LandmarkSurfaces on)
        {
            double columns = 0, rows = 0, slices = 0;
            foreach (var (at, g) in points)
                Add(ref columns, ref rows, ref slices, Vec3.Dot(g, on.Map.ColumnStepMm), Vec3.Dot(g, on.Map.RowStepMm), Vec3.Dot(g, SliceStep(at, on)));
            return Root(columns, rows, slices);
        }

        /// <summary>With the part of each step across a direction.</summary>
        public static Budget Across(ReadOnlySpan<(Vec3 AtMm, double PerMm)> points, Vec3 direction, LandmarkSurfaces on)
        {
            double columns = 0, rows = 0, slices = 0;
            foreach (var (at, per) in points)
                Add(ref columns, ref rows, ref slices, per * Off(on.Map.ColumnStepMm), per * Off(on.Map.RowStepMm), per * Off(SliceStep(at, on)));
            return Root(columns, rows, slices);

            double Off(Vec3 step) => Vec3.Cross(direction, step).Length;
        }

        private static void Add(ref double columns, ref double rows, ref double slices, double column, double row, double slice) =>
            (columns, rows, slices) = (columns + (column * column), rows + (row * row), slices + (slice * slice));

        private static Budget Root(double columns, double rows, double slices) => new(s_evenly * Math.Sqrt(columns), s_evenly * Math.Sqrt(rows), s_evenly * Math.Sqrt(slices));

        private static Vec3 SliceStep(Vec3 atMm, LandmarkSurfaces on)
        {
            var (map, thicknessMm) = (on.Map, on.SliceThicknessMm);
            if (map.Slices < 2)
                return map.Normal * (thicknessMm ?? 0);
            var at = Math.Clamp(map.Invert(atMm).Z, 0, map.Slices - 1);
            if (!double.IsFinite(at))
                at = 0;
            var below = Math.Clamp((int)Math.Ceiling(at) - 1, 0, map.Slices - 2);
            var above = Math.Clamp((int)Math.Floor(at), 0, map.Slices - 2);
            var step = map.SliceStepMm(below).LengthSquared > map.SliceStepMm(above).LengthSquared ? map.SliceStepMm(below) : map.SliceStepMm(above);
            var across = Math.Abs(Vec3.Dot(step, map.Normal));
            return thicknessMm > across ? step * (thicknessMm.Value / across) : step;
        }
    }
}
