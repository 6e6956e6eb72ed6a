using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shape;

/// <param name="BedHeightMm">z of the bed.</param>
/// <param name="Center">Also bring the middle of the bounds over x = y = 0.</param>
public sealed record PlaceOnBedParameters(double BedHeightMm = 0, bool Center = true);

/// <summary>Sets the lowest point of a mesh on the bed. Moves only; no position byte changes.</summary>
public static class PlaceOnBed
{
    /// <exception cref="PlanException">The height is not finite.</exception>
    /// <exception cref="CheckFailedException">There is nothing to place.</exception>
    public static ShapeResult Apply(Mesh mesh, PlaceOnBedParameters parameters, RunContext run)
    {
        if (!double.IsFinite(parameters.BedHeightMm))
            throw new PlanException("place-on-bed", null, "bedHeightMm", Placement.Text(parameters.BedHeightMm), "a finite number");
        var bounds = Placement.SurfaceBoundsMm(mesh);
        if (bounds.IsEmpty)
            throw new CheckFailedException("place on bed", "a mesh with triangles", "none");
        var by = new Vec3(
            parameters.Center ? -bounds.Center.X : 0,
            parameters.Center ? -bounds.Center.Y : 0,
            parameters.BedHeightMm - bounds.Min.Z);
        return Move.Apply(mesh, new(by), run);
    }
}
