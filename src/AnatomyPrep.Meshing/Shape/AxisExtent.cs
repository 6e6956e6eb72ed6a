using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>How far a mesh reaches along a unit direction, in patient millimetres; both 0 without vertices.</summary>
internal readonly record struct AxisExtent(double LowMm, double HighMm)
{
    internal double LengthMm => HighMm - LowMm;

    internal static AxisExtent Of(Mesh mesh, Vec3 axis)
    {
        if (mesh.VertexCount == 0)
            return default;
        double low = double.PositiveInfinity, high = double.NegativeInfinity;
        for (var v = 0; v < mesh.VertexCount; v++)
        {
            var at = Vec3.Dot(mesh.Local(v), axis);
            low = Math.Min(low, at);
            high = Math.Max(high, at);
        }

        var origin = Vec3.Dot(mesh.OriginMm, axis);
        return new(origin + low, origin + high);
    }
}
