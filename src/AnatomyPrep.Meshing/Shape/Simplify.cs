using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>How far to simplify; whichever limit is met first ends it. At least one is needed.</summary>
/// <param name="TargetTriangles">Stop at so many triangles.</param>
/// <param name="KeepRatio">Stop at this share of the triangles, above 0 and at most 1.</param>
/// <param name="MaxDistanceMm">Neither surface lies farther than this from the other anywhere.</param>
/// <param name="PinBoundary">Border vertices stay; otherwise borders are simplified along themselves.</param>
/// <param name="PinRims">Vertices between triangles of different origin stay.</param>
public sealed record SimplifyParameters(
    int? TargetTriangles = null,
    double? KeepRatio = null,
    double? MaxDistanceMm = null,
    bool PinBoundary = true,
    bool PinRims = true);

public static class Simplify
{
    private const string Step = "simplify";

    public static ShapeResult Apply(Mesh mesh, SimplifyParameters parameters, RunContext run)
    {
        var target = Target(mesh, parameters);
        var work = new SimplifyRun(mesh, parameters, target, run);
        work.Collapse();
        var result = work.Result();
        return new(result, new StepEffect(), []);
    }

    private static int Target(Mesh mesh, SimplifyParameters p)
    {
        if (p.TargetTriangles is null && p.KeepRatio is null && p.MaxDistanceMm is null)
            throw new PlanException(Step, null, "targetTriangles, keepRatio, maxDistanceMm", "none", "at least one of the three");
        if (p.TargetTriangles is <= 0)
            throw new PlanException(Step, null, "targetTriangles", Placement.Text(p.TargetTriangles.Value), "1 or more");
        if (p.KeepRatio is { } ratio && !(ratio > 0 && ratio <= 1))
            throw new PlanException(Step, null, "keepRatio", Placement.Text(ratio), "above 0, at most 1");
        if (p.MaxDistanceMm is { } distance && !(distance > 0 && double.IsFinite(distance)))
            throw new PlanException(Step, null, "maxDistanceMm", Placement.Text(distance), "a positive number");
        var byRatio = p.KeepRatio is { } share ? (int)Math.Round(mesh.TriangleCount * share) : 0;
        return Math.Max(p.TargetTriangles ?? 0, byRatio);
    }
}
