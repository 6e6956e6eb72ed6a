using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>Where a step put a model: the affine map read off the vertices before and after it, and the way back.</summary>
/// <remarks>
/// A step that only places a model keeps number and order of its vertices, so the map is the least-squares affine map of known
///   pairs: with both means taken away, the sum of q·pᵀ times the inverse of the sum of p·pᵀ. It is believed only when every
///   vertex lies within 0.001 mm of it: float32 about a local origin rounds far below that, and a step that moved parts of the
///   model differently (several parts on a plate) lies far above.
/// O(vertices), no memory. Summed in the order of the vertices.
/// </remarks>
public static class KnownPlacement
{
    private const double WithinMm = 1e-3;

    /// <summary>From before to after, mm in, mm out; null where no one map does it, or the body is flat.</summary>
    public static Affine3? Between(Mesh before, Mesh after)
    {
        if (before.VertexCount != after.VertexCount || before.VertexCount < 4)
            return null;
        Vec3 p0 = Mean(before), q0 = Mean(after);
        Vec3 sx = Vec3.Zero, sy = Vec3.Zero, sz = Vec3.Zero, mx = Vec3.Zero, my = Vec3.Zero, mz = Vec3.Zero;
        for (var v = 0; v < before.VertexCount; v++)
        {
            Vec3 p = before.Vertex(v) - p0, q = after.Vertex(v) - q0;
            (sx, sy, sz) = (sx + (p * p.X), sy + (p * p.Y), sz + (p * p.Z));
            (mx, my, mz) = (mx + (q * p.X), my + (q * p.Y), mz + (q * p.Z));
        }

        var spread = new Affine3(sx, sy, sz, Vec3.Zero);
        var size = sx.X + sy.Y + sz.Z;
        if (!(spread.Determinant > 1e-12 * size * size * size))
            return null;
        var linear = new Affine3(mx, my, mz, Vec3.Zero).After(spread.Inverse());
        var map = Affine3.Translate(q0).After(linear).After(Affine3.Translate(-p0));
        for (var v = 0; v < before.VertexCount; v++)
            if (!(Vec3.Distance(map.Map(before.Vertex(v)), after.Vertex(v)) <= WithinMm))
                return null;
        return map;
    }

    /// <summary>The model where it was before it was placed; outward stays outward.</summary>
    /// <exception cref="InvalidOperationException">The map is singular.</exception>
    public static Mesh Undo(Mesh model, Affine3 placement, RunContext run) =>
        placement == Affine3.Identity ? model : Placement.Map(model, placement.Inverse(), run);

    private static Vec3 Mean(Mesh mesh)
    {
        var sum = Vec3.Zero;
        for (var v = 0; v < mesh.VertexCount; v++)
            sum += mesh.Vertex(v);
        return sum / mesh.VertexCount;
    }
}
