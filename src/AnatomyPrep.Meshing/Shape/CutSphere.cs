using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shape;

public sealed record CutSphereParameters(Vec3 CenterMm, double RadiusMm, ZoneKeep Keep = ZoneKeep.Inside);

/// <summary>Keeps the triangles in a ball, or those outside of it; the result is open (<see cref="ZoneSelection"/>).</summary>
public static class CutSphere
{
    private const string Step = "cut-sphere";

    /// <exception cref="PlanException">The radius is not positive or a number is not finite.</exception>
    /// <exception cref="CheckFailedException">All or none of the model lies in the ball.</exception>
    public static ShapeResult Apply(Mesh mesh, CutSphereParameters parameters, RunContext run)
    {
        Placement.RequireFinite(Step, "centerMm", parameters.CenterMm);
        if (!(parameters.RadiusMm > 0 && double.IsFinite(parameters.RadiusMm)))
            throw new PlanException(Step, null, "radiusMm", Placement.Text(parameters.RadiusMm), "a positive number");
        var (center, squared) = (parameters.CenterMm, parameters.RadiusMm * parameters.RadiusMm);
        return ZoneSelection.Apply(mesh, Step, p => (p - center).LengthSquared <= squared, parameters.Keep, run);
    }
}
