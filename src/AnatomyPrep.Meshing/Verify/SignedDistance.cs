using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>Distance to a surface, positive on the side its triangles face.</summary>
/// <remarks>
/// Method: J. A. Bærentzen and H. Aanæs, "Signed Distance Computation Using the Angle Weighted Pseudonormal", IEEE TVCG 11(3)
///   (2005): the sign is that of the vector from the nearest point against the normal of what the nearest point lies on: of the
///   face, the sum of both faces at an edge, the sum of the faces weighted by their angles at a corner. On a closed, consistently
///   oriented surface without self-intersections that is inside and outside, proven for every point.
/// Where the surface is open the sign tells the side of the sheet nearby; where it crosses itself or a triangle is turned over it
///   may be wrong there. A point on the surface has distance 0 and sign +.
/// Error: a few units in the last place of double on the extent, about 1e-13 mm for a head.
/// Memory: the tree (44 bytes a triangle), 12 bytes a half-edge triple for partners, 24 bytes a vertex.
/// </remarks>
public sealed class SignedDistance
{
    // So many at a time, because sorting points by place takes several times their room.
    private const int BlockVertices = 1 << 17;

    private readonly EdgeTable _edges;
    private readonly Vec3[] _vertexNormals;

    private SignedDistance(TriangleTree tree, EdgeTable edges, Vec3[] vertexNormals)
    {
        Tree = tree;
        _edges = edges;
        _vertexNormals = vertexNormals;
    }

    public TriangleTree Tree { get; }

    public static SignedDistance To(Mesh mesh, RunContext run) => To(TriangleTree.Build(mesh, run), EdgeTable.Build(mesh), run);

    /// <param name="edges">Of the tree's mesh.</param>
    public static SignedDistance To(TriangleTree tree, EdgeTable edges, RunContext run) => new(tree, edges, AngleNormals.Of(tree.Mesh, run));

    /// <summary>Signed distance, and the nearest point with its unsigned distance.</summary>
    /// <returns>Infinity when nothing lies within the distance asked.</returns>
    public double Of(Vec3 pointMm, out SurfacePoint nearest, double withinMm = double.PositiveInfinity)
    {
        nearest = Tree.Nearest(pointMm, withinMm);
        return nearest.Found ? Signed(pointMm - Tree.Mesh.OriginMm, nearest with { PositionMm = nearest.PositionMm - Tree.Mesh.OriginMm }) : double.PositiveInfinity;
    }

    /// <summary>Signed distances of many points, in the order given. Infinity where nothing lies within the distance asked.</summary>
    public double[] Of(Vec3[] pointsMm, RunContext run, double withinMm = double.PositiveInfinity) => OfSome(pointsMm, run, withinMm, null);

    /// <summary>As for many points, but infinity also where the nearest point lies on a triangle that was not measured.</summary>
    internal double[] OfMeasured(Vec3[] pointsMm, RunContext run, double withinMm) =>
        OfSome(pointsMm, run, withinMm, triangle => Tree.Mesh.Origins[triangle] == Origin.Measured);

    /// <summary>Signed distance of every vertex of a mesh to this surface, by vertex.</summary>
    public double[] OfVertices(Mesh mesh, RunContext run)
    {
        var distances = new double[mesh.VertexCount];
        var points = new Vec3[Math.Min(BlockVertices, distances.Length)];
        for (var from = 0; from < distances.Length; from += BlockVertices)
        {
            var block = new ArraySegment<Vec3>(points, 0, Math.Min(BlockVertices, distances.Length - from));
            for (var v = 0; v < block.Count; v++)
                points[v] = mesh.Vertex(from + v);
            Fill(block, new(distances, from, block.Count), run, double.PositiveInfinity, null);
        }

        return distances;
    }

    private double[] OfSome(Vec3[] pointsMm, RunContext run, double withinMm, Func<int, bool>? counts)
    {
        var distances = new double[pointsMm.Length];
        Fill(pointsMm, distances, run, withinMm, counts);
        return distances;
    }

    private void Fill(ArraySegment<Vec3> pointsMm, ArraySegment<double> distances, RunContext run, double withinMm, Func<int, bool>? counts) =>
        Tree.Visit(pointsMm, run, withinMm, (i, nearest) =>
            distances[i] = nearest.Found && (counts is null || counts(nearest.Triangle)) ? Signed(pointsMm[i] - Tree.Mesh.OriginMm, nearest) : double.PositiveInfinity);

    /// <param name="local">The point, and the position of <paramref name="nearest"/>, relative to the mesh's origin.</param>
    internal double Signed(in Vec3 local, in SurfacePoint nearest)
    {
        var side = Vec3.Dot(local - nearest.PositionMm, Pseudonormal(nearest));
        return side < 0 ? -nearest.DistanceMm : nearest.DistanceMm;
    }

    private Vec3 Pseudonormal(in SurfacePoint nearest)
    {
        var t = nearest.Triangle;
        if (nearest.Feature == TriangleFeature.Face)
            return Normal(t);
        if (nearest.Feature >= TriangleFeature.Corner0)
            return _vertexNormals[Tree.Mesh.Triangles[(3 * t) + (nearest.Feature - TriangleFeature.Corner0)]];
        var opposite = _edges.Opposite[(3 * t) + (nearest.Feature - TriangleFeature.Edge01)];
        return opposite >= 0 ? Normal(t) + Normal(opposite / 3) : Normal(t);
    }

    private Vec3 Normal(int triangle)
    {
        var (a, b, c) = Tree.Mesh.Triangle(triangle);
        var p = Tree.Mesh.Local(a);
        return Vec3.Cross(Tree.Mesh.Local(b) - p, Tree.Mesh.Local(c) - p).Normalized();
    }
}
