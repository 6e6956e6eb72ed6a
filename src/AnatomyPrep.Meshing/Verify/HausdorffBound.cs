using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>Proves that whole triangles, not only sampled points of them, lie within a distance of a surface.</summary>
/// <remarks>
/// A triangle σ lies within the limit of the surface when one of these holds, tried in this order:
///   1. its centre does, and so do all points as far from the centre as its corners (a distance changes by no more than one moves);
///   2. all three corners lie within the limit of one triangle, because the distance to a convex set is convex;
///   3. seen along σ's normal, the surface covers σ at heights within the limit: <see cref="FlatCover"/>;
///   4. its four quarters do, down to a 32nd of the limit in size.
/// A point found beyond the limit, or quarters that small without a proof, count as beyond: so the answer errs to one side only.
/// After M. Tang, M. Lee, Y. J. Kim, "Interactive Hausdorff Distance Computation for General Polygonal Models", ACM TOG 28(3)
///   (2009), for 1, 2 and 4 (from memory).
/// Error: rounding of double, some 1e-13 of the extent, covered by a margin of 1e-9 of the limit.
/// Cost: 1 to 4 µs a triangle and core where surfaces run alongside each other. Memory: none beyond the tree and the edges.
/// </remarks>
internal sealed class HausdorffBound(TriangleTree to, EdgeTable edges, double limitMm)
{
    private const int PieceTriangles = 1 << 12;
    private const double Smallest = 1.0 / 32;

    private readonly double _limit = limitMm * (1 - 1e-9);
    private FlatCover? _cover;

    /// <summary>Triangles of a mesh not proven to lie within the limit, ascending.</summary>
    /// <exception cref="OperationCanceledException">Asked every few thousand triangles.</exception>
    internal List<int> Beyond(Mesh mesh, RunContext run)
    {
        var pieces = new List<int>[Partition.Pieces(mesh.TriangleCount, PieceTriangles)];
        var shift = mesh.OriginMm - to.Mesh.OriginMm;
        Partition.Ranges(run, mesh.TriangleCount, PieceTriangles, (piece, from, end) =>
        {
            var beyond = new List<int>();
            var cover = new FlatCover(to.Mesh, edges, _limit);
            for (var t = from; t < end; t++)
            {
                var (a, b, c) = mesh.Triangle(t);
                if (!Within(cover, mesh.Local(a) + shift, mesh.Local(b) + shift, mesh.Local(c) + shift))
                    beyond.Add(t);
            }

            pieces[piece] = beyond;
        });
        return [.. pieces.SelectMany(p => p)];
    }

    /// <summary>Whether a triangle, given in the frame of the surface's mesh, is proven to lie within the limit. Not thread-safe.</summary>
    internal bool Within(in Vec3 a, in Vec3 b, in Vec3 c) => Within(_cover ??= new(to.Mesh, edges, _limit), a, b, c);

    private bool Within(FlatCover cover, in Vec3 a, in Vec3 b, in Vec3 c)
    {
        var center = (a + b + c) / 3;
        var nearest = to.NearestLocal(center, _limit);
        if (!nearest.Found)
            return false;
        var reach = Math.Max((a - center).Length, Math.Max((b - center).Length, (c - center).Length));
        if (nearest.DistanceMm + reach <= _limit || WithinOne(nearest.Triangle, a, b, c) || cover.Covers(a, b, c, nearest.Triangle))
            return true;
        if (reach < _limit * Smallest)
            return false;
        Vec3 ab = (a + b) * 0.5, bc = (b + c) * 0.5, ca = (c + a) * 0.5;
        return Within(cover, ab, bc, ca) && Within(cover, a, ab, ca) && Within(cover, b, bc, ab) && Within(cover, c, ca, bc);
    }

    private bool WithinOne(int triangle, in Vec3 a, in Vec3 b, in Vec3 c)
    {
        var (i, j, k) = to.Mesh.Triangle(triangle);
        Vec3 p = to.Mesh.Local(i), q = to.Mesh.Local(j), r = to.Mesh.Local(k);
        return Near(a) && Near(b) && Near(c);
        bool Near(in Vec3 x) => (PointTriangle.Nearest(x, p, q, r, out _) - x).LengthSquared <= _limit * _limit;
    }
}
