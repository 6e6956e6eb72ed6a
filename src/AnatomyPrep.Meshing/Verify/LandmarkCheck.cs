using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>A named point where somebody put it on the images, LPS.</summary>
public sealed record Landmark(string Name, Vec3 AtMm);

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

/// <summary>Landmarks and distances of a model beside those of its source.</summary>
public sealed record LandmarkFigures(IReadOnlyList<MeasuredLandmark> Landmarks, IReadOnlyList<MeasuredDistance> Distances, IReadOnlyList<Finding> Findings);

/// <summary>Measures named points and the distances between them on the source's surface and on the model's.</summary>
/// <remarks>
/// A landmark on a surface is that surface's point nearest to where it was put. The model has to be where the images are (<see cref="KnownPlacement"/>):
///   its distances then are true size, whatever the scale it is printed in.
/// Uncertainty after JCGM 100:2008: where a surface lies is known to a sample's step, so each index is taken as evenly distributed over half
///   a step to both sides, u = ½/√3 of a step (4.3.7). A distance d with unit direction e depends on both ends, so (5.1.2)
///   u²(d) = 2·((e·a)² + (e·b)² + (e·c)²)/12, with the steps a, b, c of columns, rows and slices as vectors: a tilted gantry is in c. Where slices are uneven c is the
///   widest step beside the end. Both ends are taken as independent; U = 2·u, about 95 % (6.2). That a person may put the point elsewhere is not in it.
/// A slice thicker than its step blurs over its thickness: give it, and c is lengthened to it along itself.
/// </remarks>
public static class LandmarkCheck
{
    private const double Coverage = 2;

    /// <summary>Farther from a surface than this a point is not on it; ours.</summary>
    public const double FarMm = 5;

    /// <param name="distances">Pairs of places in the list of landmarks.</param>
    /// <param name="toleranceMm">Largest difference for the purpose, beyond the expanded uncertainty.</param>
    /// <param name="sliceThicknessMm">Null where not known: the step between slices counts.</param>
    public static LandmarkFigures Measure(
        IReadOnlyList<Landmark> landmarks, IReadOnlyList<(int From, int To)> distances, TriangleTree source, TriangleTree model, IndexToPatient map, double? sliceThicknessMm, double toleranceMm, RunContext run)
    {
        run.ThrowIfCancelled();
        var findings = new List<Finding>();
        MeasuredLandmark[] measured = [.. landmarks.Select(l => On(l, source, model, findings))];
        var lengths = new List<MeasuredDistance>();
        foreach (var (from, to) in distances)
        {
            var length = Between(measured[from], measured[to], map, sliceThicknessMm);
            if (!double.IsFinite(length.DifferenceMm))
                continue;
            lengths.Add(length);
            if (Math.Abs(length.DifferenceMm) > toleranceMm + length.ExpandedMm)
            {
                findings.Add(new(FindingCodes.DistanceDiffers, Severity.Caution,
                    FormattableString.Invariant($"{length.From} to {length.To}: {length.SourceMm:F2} mm on the images, {length.ModelMm:F2} mm on the model; the difference of {length.DifferenceMm:F2} mm is more than {toleranceMm:F2} mm and its uncertainty of {length.ExpandedMm:F2} mm."),
                    "Look which step of the plan moved the surface at either end; do not measure this distance on the model.", new Place(PositionMm: measured[from].GivenMm)));
            }
        }

        return new(measured, lengths, findings);
    }

    private static MeasuredLandmark On(Landmark landmark, TriangleTree source, TriangleTree model, List<Finding> findings)
    {
        var (onSource, sourceOff) = Nearest(landmark, source, "images' surface", findings);
        var (onModel, modelOff) = Nearest(landmark, model, "model", findings);
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

    private static MeasuredDistance Between(MeasuredLandmark from, MeasuredLandmark to, IndexToPatient map, double? sliceThicknessMm)
    {
        double source = Vec3.Distance(from.SourceMm, to.SourceMm), model = Vec3.Distance(from.ModelMm, to.ModelMm);
        var e = (to.SourceMm - from.SourceMm).Normalized();
        double columns = Two(Along(e, map.ColumnStepMm), Along(e, map.ColumnStepMm)), rows = Two(Along(e, map.RowStepMm), Along(e, map.RowStepMm));
        var slices = Two(Along(e, SliceStep(from.SourceMm, map, sliceThicknessMm)), Along(e, SliceStep(to.SourceMm, map, sliceThicknessMm)));
        var standard = Math.Sqrt((columns * columns) + (rows * rows) + (slices * slices));
        return new(from.Name, to.Name, source, model, model - source, columns, rows, slices, standard, Coverage * standard);
    }

    // Half a step to both sides, evenly distributed: half the step over the root of 3.
    private static double Along(Vec3 direction, Vec3 stepMm) => Math.Abs(Vec3.Dot(direction, stepMm)) / (2 * Math.Sqrt(3));

    private static double Two(double one, double other) => Math.Sqrt((one * one) + (other * other));

    private static Vec3 SliceStep(Vec3 atMm, IndexToPatient map, double? thicknessMm)
    {
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
