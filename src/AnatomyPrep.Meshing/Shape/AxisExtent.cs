using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>How far a mesh reaches along a unit direction, in patient millimetres; both 0 without triangles. Vertices that no triangle uses do not count.</summary>
internal readonly record struct AxisExtent(double LowMm, double HighMm)
{
    internal double LengthMm => HighMm - LowMm;

    internal static AxisExtent Of(Mesh mesh, Vec3 axis)
    {
        if (mesh.TriangleCount == 0)
            return default;
        double low = double.PositiveInfinity, high = double.NegativeInfinity;
        foreach (var v in mesh.Triangles)
        {
            var at = Vec3.Dot(mesh.Local(v), axis);
            low = Math.Min(low, at);
            high = Math.Max(high, at);
        }

        var origin = Vec3.Dot(mesh.OriginMm, axis);
        return new(origin + low, origin + high);
    }
}
