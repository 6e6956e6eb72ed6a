using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Walls;

/// <summary>Signed distance to an open sheet, and how far a point lies beyond its rim.</summary>
/// <remarks>
/// The sign is that of the side the nearest point is seen from (<see cref="SignedDistance"/>). A point whose nearest point lies on
/// the border is beyond the rim by its distance to the plane through the border that holds the sheet's normal there; at a border
/// vertex the plane stands at right angles to the sum of the outward directions of its border edges.
/// Edges of more than two triangles are no border. A sheet without border is a closed surface, and nothing is beyond.
/// Memory: that of <see cref="SignedDistance"/> and 24 bytes a vertex.
/// </remarks>
internal sealed class SheetSide
{
    private readonly EdgeTable _edges;
    private readonly SignedDistance _distance;
    private readonly Vec3[] _outward;
    private readonly TriangleTree? _hazards;
    private int[] _borderHalfEdges = [];

    private SheetSide(TriangleTree tree, EdgeTable edges, SignedDistance distance, Vec3[] outward, TriangleTree? hazards)
    {
        Tree = tree;
        _edges = edges;
        _distance = distance;
        _outward = outward;
        _hazards = hazards;
    }

    public TriangleTree Tree { get; }

    public EdgeTable Edges => _edges;

    /// <summary>Pairs of triangles of the sheet that cross or lie on each other.</summary>
    public int Crossings { get; private init; }

    public static SheetSide Of(Mesh sheet, RunContext run)
    {
        var tree = TriangleTree.Build(sheet, run);
        var edges = EdgeTable.Build(sheet);
        var pairs = SelfIntersections.Find(tree, edges, run);
        var hazards = Hazards(sheet, edges, pairs);
        return new(tree, edges, SignedDistance.To(tree, edges, run), OutwardAtVertices(sheet, edges), hazards.TriangleCount == 0 ? null : TriangleTree.Build(hazards, run))
        {
            Crossings = pairs.Crossing + pairs.Overlapping,
            _borderHalfEdges = [.. Enumerable.Range(0, edges.Opposite.Length).Where(h => edges.OppositeArray[h] < 0)],
        };
    }

    /// <summary>Distance to where the sheet ends, branches, turns over or crosses itself; infinite where it does none of that.</summary>
    public double HazardMm(in Vec3 p) => _hazards?.NearestLocal(p, double.PositiveInfinity).DistanceMm ?? double.PositiveInfinity;

    /// <param name="beyondMm">Positive beyond the rim, negative infinity where the nearest point is not on the border.</param>
    public double At(in Vec3 p, ref SurfacePoint near, out double beyondMm)
    {
        near = Tree.NearestLocal(p, near);
        beyondMm = TryOutward(near, out var outward) ? Vec3.Dot(p - near.PositionMm, outward) : double.NegativeInfinity;
        return _distance.Signed(p, near);
    }

    /// <summary>Unit direction in the sheet, away from it, where a nearest point lies on the border.</summary>
    public bool TryOutward(in SurfacePoint near, out Vec3 outward)
    {
        outward = Vec3.Zero;
        if (near.Feature == TriangleFeature.Face)
            return false;
        if (near.Feature >= TriangleFeature.Corner0)
        {
            outward = _outward[Tree.Mesh.Triangles[(3 * near.Triangle) + (near.Feature - TriangleFeature.Corner0)]];
            return outward != Vec3.Zero;
        }

        var halfEdge = (3 * near.Triangle) + (near.Feature - TriangleFeature.Edge01);
        if (_edges.Opposite[halfEdge] != EdgeTable.Boundary)
            return false;
        outward = Outward(Tree.Mesh, halfEdge);
        return true;
    }

    /// <summary>Edges without one proper partner, as triangles without area, and triangles that cross others.</summary>
    private static Mesh Hazards(Mesh sheet, EdgeTable edges, IntersectingPairs pairs)
    {
        var triangles = new List<int>();
        for (var h = 0; h < edges.Opposite.Length; h++)
            if (edges.Opposite[h] < 0)
                triangles.AddRange([sheet.Triangles[h], sheet.Triangles[EdgeTable.Next(h)], sheet.Triangles[EdgeTable.Next(h)]]);
        foreach (var pair in pairs.Pairs)
        {
            if (pair.Contact == Contact.Touching)
                continue;
            triangles.AddRange(sheet.Triangles.Slice(3 * pair.First, 3));
            triangles.AddRange(sheet.Triangles.Slice(3 * pair.Second, 3));
        }

        return new(sheet.OriginMm, sheet.PositionArray, [.. triangles]);
    }

    /// <summary>The border half-edge nearest to a point, and how far along it the nearest point lies, 0 to 1. For sheets without other hazards.</summary>
    public (int HalfEdge, double Along) NearestBorder(in Vec3 p)
    {
        var nearest = _hazards!.NearestLocal(p, double.PositiveInfinity);
        var halfEdge = _borderHalfEdges[nearest.Triangle];
        Vec3 from = Tree.Mesh.Local(Tree.Mesh.Triangles[halfEdge]), to = Tree.Mesh.Local(Tree.Mesh.Triangles[EdgeTable.Next(halfEdge)]);
        return (halfEdge, Math.Clamp(Vec3.Dot(nearest.PositionMm - from, to - from) / (to - from).LengthSquared, 0, 1));
    }

    private static Vec3[] OutwardAtVertices(Mesh sheet, EdgeTable edges)
    {
        var outward = new Vec3[sheet.VertexCount];
        for (var h = 0; h < edges.Opposite.Length; h++)
        {
            if (edges.Opposite[h] != EdgeTable.Boundary)
                continue;
            var direction = Outward(sheet, h);
            outward[sheet.Triangles[h]] += direction;
            outward[sheet.Triangles[EdgeTable.Next(h)]] += direction;
        }

        for (var v = 0; v < outward.Length; v++)
            outward[v] = outward[v].Normalized();
        return outward;
    }

    private static Vec3 Outward(Mesh sheet, int halfEdge)
    {
        var (a, b, c) = sheet.Triangle(halfEdge / 3);
        var p = sheet.Local(a);
        var normal = Vec3.Cross(sheet.Local(b) - p, sheet.Local(c) - p);
        var edge = sheet.Local(sheet.Triangles[EdgeTable.Next(halfEdge)]) - sheet.Local(sheet.Triangles[halfEdge]);
        return Vec3.Cross(edge, normal).Normalized();
    }
}
