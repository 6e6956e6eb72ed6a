using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shape;

/// <param name="AngleDeg">Right-handed about the axis.</param>
/// <param name="AboutMm">A point on the axis; the centre of the bounds where none is given.</param>
public sealed record RotateParameters(Vec3 Axis, double AngleDeg, Vec3? AboutMm = null);

/// <summary>Turns a mesh about an axis (Rodrigues' formula). Each vertex is rounded to float32 once.</summary>
public static class Rotate
{
    /// <exception cref="PlanException">The axis is zero or a number is not finite.</exception>
    public static ShapeResult Apply(Mesh mesh, RotateParameters parameters, RunContext run)
    {
        var axis = Placement.Direction("rotate", "axis", parameters.Axis);
        if (!double.IsFinite(parameters.AngleDeg))
            throw new PlanException("rotate", null, "angleDeg", Placement.Text(parameters.AngleDeg), "a finite number");
        var about = parameters.AboutMm ?? Placement.CenterMm(mesh);
        Placement.RequireFinite("rotate", "aboutMm", about);
        var map = Affine3.Translate(about)
            .After(Affine3.Rotate(axis, parameters.AngleDeg * (Math.PI / 180)))
            .After(Affine3.Translate(-about));
        var turned = Placement.Map(mesh, map, run);
        return new(turned, Displacement.Effect(mesh, turned, run), []);
    }
}
