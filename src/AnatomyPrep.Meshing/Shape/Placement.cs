using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Plans;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>Applies one affine map to a mesh.</summary>
/// <remarks>
/// The mesh's origin is mapped in double; positions relative to it take the linear part in double and are rounded to
/// float32 once, so a vertex lies within half a unit in the last place of its exact place. A pure translation moves the
/// origin alone and changes no position byte. A map that turns left into right has its winding turned, so that outward
/// stays outward. Peak: the positions and, when mirrored, the triangles once more.
/// A map that would take a vertex out of the range of float32 throws and leaves the mesh as it was.
/// </remarks>
internal static class Placement
{
    private const int Block = 1 << 15;

    internal static Mesh Map(Mesh mesh, Affine3 map, RunContext run)
    {
        var origin = map.Map(mesh.OriginMm);
        var mirrored = map.Determinant < 0;
        if ((map with { Translation = Vec3.Zero }) == Affine3.Identity)
            return new(origin, mesh.PositionArray, mesh.TriangleArray, mesh.OriginArray);
        var from = mesh.PositionArray;
        var to = new float[from.Length];
        var lost = new bool[Partition.Pieces(mesh.VertexCount, Block)];
        Partition.Ranges(run, mesh.VertexCount, Block, (piece, first, end) =>
        {
            for (var v = first; v < end; v++)
            {
                var p = map.MapDirection(new(from[3 * v], from[(3 * v) + 1], from[(3 * v) + 2]));
                (to[3 * v], to[(3 * v) + 1], to[(3 * v) + 2]) = ((float)p.X, (float)p.Y, (float)p.Z);
                lost[piece] |= !(float.IsFinite(to[3 * v]) && float.IsFinite(to[(3 * v) + 1]) && float.IsFinite(to[(3 * v) + 2]));
            }
        });
        if (lost.Contains(true))
            throw new CheckFailedException("place", "a model whose coordinates can be stored", "coordinates beyond the range of numbers");
        return new(origin, to, mirrored ? Turned(mesh.Triangles) : mesh.TriangleArray, mesh.OriginArray);
    }

    /// <summary>The same triangles seen from the other side; the first corner stays first.</summary>
    internal static int[] Turned(ReadOnlySpan<int> triangles)
    {
        var turned = triangles.ToArray();
        for (var i = 0; i < turned.Length; i += 3)
            (turned[i + 1], turned[i + 2]) = (turned[i + 2], turned[i + 1]);
        return turned;
    }

    /// <summary>Smallest rotation about the coordinate origin that carries one direction onto another.</summary>
    internal static Affine3 TurnOnto(Vec3 from, Vec3 to)
    {
        var (a, b) = (from.Normalized(), to.Normalized());
        var axis = Vec3.Cross(a, b);
        if (axis.Length < 1e-12)
            return Vec3.Dot(a, b) > 0 ? Affine3.Identity : Affine3.Rotate(AnyPerpendicular(a), Math.PI);
        // Near a half turn the product is mostly rounding; what of it lies along a would tilt the result.
        var across = axis.Normalized();
        return Affine3.Rotate(across - (a * Vec3.Dot(a, across)), Math.Atan2(axis.Length, Vec3.Dot(a, b)));
    }

    /// <summary>A unit vector at right angles, by one fixed rule.</summary>
    internal static Vec3 AnyPerpendicular(Vec3 direction)
    {
        var (x, y, z) = (Math.Abs(direction.X), Math.Abs(direction.Y), Math.Abs(direction.Z));
        var least = x <= y && x <= z ? new Vec3(1, 0, 0) : y <= z ? new Vec3(0, 1, 0) : new Vec3(0, 0, 1);
        return Vec3.Cross(direction, least).Normalized();
    }

    /// <summary>Bounds of the vertices that triangles use: strays of a file are no part of the surface.</summary>
    internal static Box3 SurfaceBoundsMm(Mesh mesh)
    {
        var bounds = Box3.Empty;
        foreach (var v in mesh.Triangles)
            bounds = bounds.Including(mesh.Local(v));
        return bounds.IsEmpty ? bounds : new(bounds.Min + mesh.OriginMm, bounds.Max + mesh.OriginMm);
    }

    /// <summary>Where a mesh without a stated point is turned or scaled about: the centre of its surface's bounds.</summary>
    internal static Vec3 CenterMm(Mesh mesh)
    {
        var bounds = SurfaceBoundsMm(mesh);
        return bounds.IsEmpty ? Vec3.Zero : bounds.Center;
    }

    /// <exception cref="PlanException">The direction is zero or not finite.</exception>
    internal static Vec3 Direction(string step, string parameter, Vec3 direction)
    {
        var unit = direction.Normalized();
        if (!unit.IsFinite || unit == Vec3.Zero)
            throw new PlanException(step, null, parameter, Text(direction), "a direction that is not zero");
        return unit;
    }

    /// <exception cref="PlanException">A coordinate is not finite.</exception>
    internal static void RequireFinite(string step, string parameter, Vec3 value)
    {
        if (!value.IsFinite)
            throw new PlanException(step, null, parameter, Text(value), "three finite numbers");
    }

    internal static string Text(Vec3 v) => FormattableString.Invariant($"({v.X}, {v.Y}, {v.Z})");

    internal static string Text(double value) => FormattableString.Invariant($"{value}");
}
