using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Meshing.Shape;

namespace AnatomyPrep.Meshing.Prepare;

/// <summary>Right-handed axes of a model that stands with <paramref name="Up"/> upward: right × back = up.</summary>
internal readonly record struct UpFrame(Vec3 Right, Vec3 Back, Vec3 Up)
{
    /// <param name="up">Not zero.</param>
    public static UpFrame Of(Vec3 up)
    {
        up = up.Normalized();
        var right = up == new Vec3(0, 0, 1) ? new Vec3(1, 0, 0) : Placement.AnyPerpendicular(up);
        return new(right, Vec3.Cross(up, right), up);
    }

    /// <summary>Back from this frame into the mesh's own.</summary>
    public Vec3 ToLocal(double right, double back, double up) => (Right * right) + (Back * back) + (Up * up);
}
