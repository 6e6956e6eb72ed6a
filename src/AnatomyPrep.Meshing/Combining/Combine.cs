using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Combining;

/// <summary>Union, difference and intersection of two solids.</summary>
/// <remarks>
/// Method: the library Manifold decides what meets what by symbolic perturbation, so topology is right for coplanar, identical and
///   touching solids too (<see cref="SolidEngine"/>); then <see cref="SolidCombination"/> makes the rounded result pass exact tests.
/// Faces that lie on each other: a union merges them, a difference opens them, solids that only touch stay two pieces.
/// Gives: triangles away from the cut with their vertices bit for bit, in their order (those of the second mesh rounded once to
///   float32 about the first one's origin, when the origins differ); triangles along the cut keep the origin of the one they lie in.
/// An empty result is an empty mesh with a stop.
/// Measures: volumeOtherMm3, trianglesKept, trianglesNew, piecesAfter, settledPlaces, settledMaxMm.
/// Same bytes on every run. Cost and memory: docs/methods/combine.md.
/// </remarks>
public static class Combine
{
    /// <exception cref="CheckFailedException">A mesh is not a solid, or the result cannot be made one; nothing has changed.</exception>
    public static ShapeResult Union(Mesh mesh, Mesh other, RunContext run) => Apply("union", BooleanOperation.Union, mesh, other, run);

    /// <summary>The first without the second.</summary>
    /// <exception cref="CheckFailedException">A mesh is not a solid, or the result cannot be made one; nothing has changed.</exception>
    public static ShapeResult Difference(Mesh mesh, Mesh other, RunContext run) => Apply("difference", BooleanOperation.Difference, mesh, other, run);

    /// <exception cref="CheckFailedException">A mesh is not a solid, or the result cannot be made one; nothing has changed.</exception>
    public static ShapeResult Intersection(Mesh mesh, Mesh other, RunContext run) => Apply("intersection", BooleanOperation.Intersection, mesh, other, run);

    private static ShapeResult Apply(string step, BooleanOperation operation, Mesh mesh, Mesh other, RunContext run)
    {
        using var engine = SolidEngine.Start(mesh.OriginMm, run);
        MeshFacts? facts = null, otherFacts = null;
        run.Report(step, "check", 0);
        engine.AddWhileChecking([mesh, other], () =>
        {
            facts = SolidCheck.Require(step, "the model", mesh, run);
            otherFacts = SolidCheck.Require(step, "the other mesh", other, run);
        });
        run.Report(step, "combine", 0.5);
        var combined = SolidCombination.Make(step, engine, (e, solids) => e.Combine(operation, solids), run);
        return Result(step, operation, facts!, otherFacts!, combined);
    }

    private static ShapeResult Result(
        string step, BooleanOperation operation, MeshFacts before, MeshFacts other, SolidCombination combined)
    {
        if (combined.Mesh.TriangleCount == 0)
            return new(combined.Mesh, Effect(before, other, combined, before.AreaMm2), [Nothing(operation)]);
        RequirePlausible(step, operation, before.VolumeMm3, other.VolumeMm3, combined.Facts.VolumeMm3);
        var findings = new List<Finding>();
        if (operation != BooleanOperation.Intersection && combined.Raw.Whole == combined.Mesh.TriangleCount && combined.Raw.Whole == before.Triangles + (operation == BooleanOperation.Union ? other.Triangles : 0))
            findings.Add(Apart(operation));
        if (combined.Settled > 0)
            findings.Add(combined.SettledFinding());
        return new(combined.Mesh, Effect(before, other, combined, combined.ChangedAreaMm2(s => s == 0, before.AreaMm2)), findings);
    }

    private static StepEffect Effect(MeshFacts before, MeshFacts other, SolidCombination combined, double changedAreaMm2) => new(
        changedAreaMm2,
        VolumeBeforeMm3: before.VolumeMm3,
        VolumeAfterMm3: combined.Facts.VolumeMm3,
        Measures: combined.Measures(("volumeOtherMm3", other.VolumeMm3)));

    /// <summary>Volumes that no union, difference or intersection can have are a fault of ours or of the engine, and must not pass.</summary>
    private static void RequirePlausible(string step, BooleanOperation operation, double a, double b, double result)
    {
        var (low, high) = operation switch
        {
            BooleanOperation.Union => (Math.Max(a, b), a + b),
            BooleanOperation.Difference => (a - b, a),
            _ => (0, Math.Min(a, b)),
        };
        var slack = 1e-6 * (a + b);
        if (result < low - slack || result > high + slack)
            throw new CheckFailedException(step, FormattableString.Invariant($"a volume between {low:F3} and {high:F3} mm³"), FormattableString.Invariant($"{result:F3} mm³"));
    }

    private static Finding Nothing(BooleanOperation operation) => new(
        FindingCodes.NothingLeft,
        Severity.Stop,
        operation == BooleanOperation.Intersection ? "The two solids have nothing in common." : "The other solid takes all of the model away.",
        "Check where both meshes lie; they must be in the same coordinates.");

    private static Finding Apart(BooleanOperation operation) => new(
        FindingCodes.SolidsApart,
        Severity.Caution,
        operation == BooleanOperation.Union ? "The two solids do not overlap: the result is both, side by side." : "The two solids do not overlap: nothing has changed.",
        "Check where both meshes lie; they must be in the same coordinates.");
}
