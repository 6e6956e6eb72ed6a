using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shape;

/// <param name="Direction">Towards the end that goes; any length.</param>
/// <param name="LengthMm">How much goes, from the farthest vertex in that direction.</param>
/// <param name="Cap">Close the cut flat.</param>
public sealed record TrimParameters(Vec3 Direction, double LengthMm, bool Cap = true);

/// <summary>Takes a stated length off one end of a model, flat: a neck to stand on, the ragged end of a scan.</summary>
/// <remarks>A <see cref="Cut"/> whose plane is found from the model itself, so that one plan serves scans that lie elsewhere.</remarks>
public static class Trim
{
    private const string Step = "trim";

    /// <exception cref="PlanException">The direction is zero, or a number is not finite or not positive.</exception>
    /// <exception cref="CheckFailedException">Nothing would be left, or a cap is wanted and cannot be made; nothing has changed.</exception>
    public static ShapeResult Apply(Mesh mesh, TrimParameters parameters, RunContext run)
    {
        var direction = Placement.Direction(Step, "direction", parameters.Direction);
        if (!(parameters.LengthMm > 0) || !double.IsFinite(parameters.LengthMm))
            throw new PlanException(Step, null, "lengthMm", Placement.Text(parameters.LengthMm), "a positive number");
        var extent = AxisExtent.Of(mesh, direction);
        if (parameters.LengthMm >= extent.LengthMm)
            throw new CheckFailedException(Step, $"a model longer than {Placement.Text(parameters.LengthMm)} mm in that direction", $"{Placement.Text(extent.LengthMm)} mm");
        return Cut.Apply(mesh, new CutParameters(direction * (extent.HighMm - parameters.LengthMm), direction, CutKeep.Back, parameters.Cap), run);
    }
}
