using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>Landmarks on the model and the places they belong to, pair by pair.</summary>
public sealed record AlignLandmarksParameters(IReadOnlyList<Vec3> LandmarksMm, IReadOnlyList<Vec3> TargetsMm);

/// <summary>Moves and turns a mesh so that its landmarks come nearest to given places; never scales, never mirrors.</summary>
/// <remarks>
/// Method: <see cref="RigidFit"/>. Measures: rmsResidualMm, maxResidualMm, and residualMm.N for landmark N (from 1).
/// Landmarks that only a mirror image would fit raise a caution: that is how left and right get confused.
/// </remarks>
public static class AlignLandmarks
{
    private const string Step = "align-landmarks";

    /// <exception cref="PlanException">Fewer than three pairs, unequal counts, points on one line, or numbers that are not finite.</exception>
    public static ShapeResult Apply(Mesh mesh, AlignLandmarksParameters parameters, RunContext run)
    {
        Vec3[] from = [.. parameters.LandmarksMm], to = [.. parameters.TargetsMm];
        Validate(from, to);
        var fit = RigidFit.Fit(from, to);
        var aligned = Placement.Map(mesh, fit.Map, run);
        return new(aligned, Displacement.Effect(mesh, aligned, run, Residuals(fit, from, to)), Findings(fit, from, to));
    }

    private static void Validate(Vec3[] from, Vec3[] to)
    {
        if (from.Length != to.Length)
            throw new PlanException(Step, null, "targetsMm", FormattableString.Invariant($"{to.Length} for {from.Length} landmarks"), "one target a landmark");
        if (from.Length < 3)
            throw new PlanException(Step, null, "landmarksMm", FormattableString.Invariant($"{from.Length} points"), "three or more");
        foreach (var p in from)
            Placement.RequireFinite(Step, "landmarksMm", p);
        foreach (var p in to)
            Placement.RequireFinite(Step, "targetsMm", p);
        if (RigidFit.Rank(from) < 2)
            throw new PlanException(Step, null, "landmarksMm", "points on one line", "three or more points that are not on one line");
        if (RigidFit.Rank(to) < 2)
            throw new PlanException(Step, null, "targetsMm", "points on one line", "three or more points that are not on one line");
    }

    private static SortedDictionary<string, double> Residuals(RigidFit fit, Vec3[] from, Vec3[] to)
    {
        var measures = new SortedDictionary<string, double>(StringComparer.Ordinal);
        double max = 0;
        for (var i = 0; i < from.Length; i++)
        {
            var residual = Vec3.Distance(fit.Map.Map(from[i]), to[i]);
            max = Math.Max(max, residual);
            measures[FormattableString.Invariant($"residualMm.{i + 1}")] = residual;
        }

        measures["rmsResidualMm"] = fit.RmsMm;
        measures["maxResidualMm"] = max;
        return measures;
    }

    private static List<Finding> Findings(RigidFit fit, Vec3[] from, Vec3[] to)
    {
        // A flat set of landmarks fits its mirror image as well as itself and tells nothing.
        if (RigidFit.Rank(from) < 3 || RigidFit.Rank(to) < 3 || fit.MirroredRmsMm > fit.RmsMm / 2)
            return [];
        return
        [
            new(
                FindingCodes.LandmarksMirrored,
                Severity.Caution,
                FormattableString.Invariant($"The landmarks fit within {fit.RmsMm:F2} mm as they are, but within {fit.MirroredRmsMm:F2} mm as a mirror image."),
                "Check the side of the model and the names of the landmarks."),
        ];
    }
}
