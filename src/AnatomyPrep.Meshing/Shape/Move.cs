using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shape;

/// <param name="ByMm">Patient millimetres, LPS.</param>
public sealed record MoveParameters(Vec3 ByMm);

/// <summary>Moves a mesh without touching a position byte: only the mesh's double origin changes.</summary>
public static class Move
{
    /// <exception cref="PlanException">The vector is not finite.</exception>
    public static ShapeResult Apply(Mesh mesh, MoveParameters parameters, RunContext run)
    {
        Placement.RequireFinite("move", "byMm", parameters.ByMm);
        var moved = Placement.Map(mesh, Affine3.Translate(parameters.ByMm), run);
        return new(moved, Displacement.Effect(mesh, moved, run), []);
    }
}
