using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>A plane of the model and the plane it shall lie in.</summary>
/// <param name="TargetPointMm">Where the model's point goes; the coordinate origin where none is given.</param>
/// <param name="TargetNormal">Where the model's normal points afterwards; +z where none is given.</param>
public sealed record AlignToPlaneParameters(Vec3 PointMm, Vec3 Normal, Vec3? TargetPointMm = null, Vec3? TargetNormal = null);

/// <summary>Brings a plane of the model onto another by the smallest rotation, then moves the point onto the point.</summary>
public static class AlignToPlane
{
    /// <exception cref="PlanException">A normal is zero or a number is not finite.</exception>
    public static ShapeResult Apply(Mesh mesh, AlignToPlaneParameters parameters, RunContext run)
    {
        const string step = "align-to-plane";
        var normal = Placement.Direction(step, "normal", parameters.Normal);
        var wanted = Placement.Direction(step, "targetNormal", parameters.TargetNormal ?? new Vec3(0, 0, 1));
        var target = parameters.TargetPointMm ?? Vec3.Zero;
        Placement.RequireFinite(step, "pointMm", parameters.PointMm);
        Placement.RequireFinite(step, "targetPointMm", target);
        var turn = Placement.TurnOnto(normal, wanted);
        var map = Affine3.Translate(target).After(turn).After(Affine3.Translate(-parameters.PointMm));
        var aligned = Placement.Map(mesh, map, run);
        var measures = new SortedDictionary<string, double>(StringComparer.Ordinal)
        {
            ["rotationDeg"] = Math.Atan2(Vec3.Cross(normal, wanted).Length, Vec3.Dot(normal, wanted)) * (180 / Math.PI),
        };
        return new(aligned, Displacement.Effect(mesh, aligned, run, measures), []);
    }
}
