using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>The mirror plane, by a point on it and its normal.</summary>
public sealed record MirrorParameters(Vec3 PointMm, Vec3 Normal);

/// <summary>Mirrors a mesh in a plane. Left becomes right, which is always a caution.</summary>
/// <remarks>The winding is turned with the mesh, so outward stays outward and the volume keeps its sign: neither tells a
/// mirror image from the original, only the finding and landmarks do.</remarks>
public static class Mirror
{
    /// <exception cref="PlanException">The normal is zero or a number is not finite.</exception>
    public static ShapeResult Apply(Mesh mesh, MirrorParameters parameters, RunContext run)
    {
        var normal = Placement.Direction("mirror", "normal", parameters.Normal);
        Placement.RequireFinite("mirror", "pointMm", parameters.PointMm);
        var mirrored = Placement.Map(mesh, Affine3.Mirror(parameters.PointMm, normal), run);
        return new(mirrored, Displacement.Effect(mesh, mirrored, run), [SideMirrored()]);
    }

    private static Finding SideMirrored() => new(
        FindingCodes.SideMirrored,
        Severity.Caution,
        "The model is a mirror image: left and right have changed places.",
        "Release it only where a mirror image is asked for, and mark the model as mirrored.");
}
