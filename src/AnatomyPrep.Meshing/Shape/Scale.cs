using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>Either a factor, or the extent that the model shall have along an axis.</summary>
/// <param name="Axis">Direction along which the height is taken; head (+z) where none is given.</param>
/// <param name="AboutMm">The point that stays; the centre of the bounds where none is given.</param>
public sealed record ScaleParameters(double? Factor = null, double? TargetHeightMm = null, Vec3? Axis = null, Vec3? AboutMm = null);

/// <summary>Scales a mesh evenly. A model that is not life-size is always a caution.</summary>
/// <remarks>Positions are scaled in double and rounded to float32 once: a height comes out within one unit in the last
/// place of the half extent at either end, 3e-5 mm for a head.</remarks>
public static class Scale
{
    /// <exception cref="PlanException">Not exactly one of factor and height, or not positive and finite.</exception>
    /// <exception cref="CheckFailedException">The model has no extent along the axis, or would leave the range of numbers.</exception>
    public static ShapeResult Apply(Mesh mesh, ScaleParameters parameters, RunContext run)
    {
        var axis = Placement.Direction("scale", "axis", parameters.Axis ?? new Vec3(0, 0, 1));
        var about = parameters.AboutMm ?? Placement.CenterMm(mesh);
        Placement.RequireFinite("scale", "aboutMm", about);
        var factor = Factor(mesh, parameters, axis);
        var map = Affine3.Translate(about).After(Affine3.Scale(factor)).After(Affine3.Translate(-about));
        var scaled = Placement.Map(mesh, map, run);
        var measures = new SortedDictionary<string, double>(StringComparer.Ordinal)
        {
            ["factor"] = factor,
            ["heightMm"] = AxisExtent.Of(scaled, axis).LengthMm,
        };
        return new(scaled, Displacement.Effect(mesh, scaled, run, measures), factor == 1 ? [] : [Scaled(factor)]);
    }

    private static double Factor(Mesh mesh, ScaleParameters parameters, Vec3 axis)
    {
        if (parameters.Factor is { } factor && parameters.TargetHeightMm is null)
            return Positive("factor", factor);
        if (parameters.TargetHeightMm is not { } target || parameters.Factor is not null)
            throw new PlanException("scale", null, "factor, targetHeightMm", parameters.Factor is null ? "neither" : "both", "exactly one of the two");
        Positive("targetHeightMm", target);
        var height = AxisExtent.Of(mesh, axis).LengthMm;
        if (height <= 0)
            throw new CheckFailedException("scale to a height", "a model with an extent along the axis", Placement.Text(height) + " mm");
        return target / height;
    }

    private static double Positive(string parameter, double value) =>
        value > 0 && double.IsFinite(value)
            ? value
            : throw new PlanException("scale", null, parameter, Placement.Text(value), "a positive number");

    private static Finding Scaled(double factor) => new(
        FindingCodes.ModelScaled,
        Severity.Caution,
        FormattableString.Invariant($"The model is not life-size: it is scaled by {factor:G6}."),
        "Mark the scale on the model; do not measure anatomy on it.");
}
