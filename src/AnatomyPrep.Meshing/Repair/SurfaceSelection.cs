using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>A way to choose triangles of a mesh.</summary>
public abstract record SurfaceSelection
{
    /// <summary>One flag per triangle.</summary>
    public abstract bool[] Select(Mesh mesh, RunContext run);
}

/// <summary>Which corners must lie inside for a triangle to be chosen.</summary>
public enum CornerRule
{
    /// <summary>The centre of the triangle.</summary>
    Center,

    /// <summary>All three corners.</summary>
    All,

    /// <summary>At least one corner.</summary>
    Any,
}

/// <summary>Triangles by where they lie. O(triangles), on all threads.</summary>
public abstract record PlaceSelection(CornerRule Rule = CornerRule.Center) : SurfaceSelection
{
    private const int BlockTriangles = 1 << 14;

    public abstract bool Contains(Vec3 pointMm);

    public override bool[] Select(Mesh mesh, RunContext run)
    {
        var chosen = new bool[mesh.TriangleCount];
        Partition.Ranges(run, chosen.Length, BlockTriangles, (_, from, to) =>
        {
            for (var t = from; t < to; t++)
            {
                var (a, b, c) = mesh.Triangle(t);
                Vec3 pa = mesh.Vertex(a), pb = mesh.Vertex(b), pc = mesh.Vertex(c);
                chosen[t] = Rule switch
                {
                    CornerRule.All => Contains(pa) && Contains(pb) && Contains(pc),
                    CornerRule.Any => Contains(pa) || Contains(pb) || Contains(pc),
                    _ => Contains((pa + pb + pc) / 3),
                };
            }
        });
        return chosen;
    }
}

/// <summary>The side of a plane that its normal points to, the plane included.</summary>
public sealed record HalfSpaceSelection(Vec3 PointMm, Vec3 Normal, CornerRule Rule = CornerRule.Center) : PlaceSelection(Rule)
{
    public override bool Contains(Vec3 pointMm) => Vec3.Dot(Normal, pointMm - PointMm) >= 0;
}

/// <summary>The inside of a box, its faces included.</summary>
/// <param name="ToBox">Patient millimetres to the axes of the box; identity for an upright one.</param>
public sealed record BoxSelection(Box3 BoxMm, Affine3 ToBox, CornerRule Rule = CornerRule.Center) : PlaceSelection(Rule)
{
    public override bool Contains(Vec3 pointMm) => BoxMm.Contains(ToBox.Map(pointMm));
}

/// <summary>The inside of a sphere, its surface included.</summary>
public sealed record SphereSelection(Vec3 CenterMm, double RadiusMm, CornerRule Rule = CornerRule.Center) : PlaceSelection(Rule)
{
    public override bool Contains(Vec3 pointMm) => (pointMm - CenterMm).LengthSquared <= RadiusMm * RadiusMm;
}

/// <summary>What a polygon drawn on a view of the model covers, through its whole depth.</summary>
/// <param name="Polygon">Corners in normalised view coordinates (-1 to 1 across the view, y up); may cross itself (even-odd rule).</param>
/// <param name="ViewProjection">16 numbers, row by row: patient millimetres (x, y, z, 1) to clip coordinates; points with w at most 0 lie behind the eye and are outside.</param>
public sealed record LassoSelection(IReadOnlyList<(double X, double Y)> Polygon, IReadOnlyList<double> ViewProjection, CornerRule Rule = CornerRule.Center)
    : PlaceSelection(Rule)
{
    public override bool Contains(Vec3 pointMm)
    {
        var w = Row(3, pointMm);
        if (w <= 0)
            return false;
        double x = Row(0, pointMm) / w, y = Row(1, pointMm) / w;
        var inside = false;
        for (int i = 0, last = Polygon.Count - 1; i < Polygon.Count; last = i++)
        {
            var (p, q) = (Polygon[i], Polygon[last]);
            if (p.Y > y != q.Y > y && x < (((q.X - p.X) * (y - p.Y) / (q.Y - p.Y)) + p.X))
                inside = !inside;
        }

        return inside;
    }

    public override bool[] Select(Mesh mesh, RunContext run)
    {
        if (Polygon.Count < 3)
            throw new ArgumentException("A lasso has at least three corners.");
        if (ViewProjection.Count != 16)
            throw new ArgumentException("A view projection has 16 numbers.");
        return base.Select(mesh, run);
    }

    private double Row(int row, Vec3 p) =>
        (ViewProjection[4 * row] * p.X) + (ViewProjection[(4 * row) + 1] * p.Y) + (ViewProjection[(4 * row) + 2] * p.Z) + ViewProjection[(4 * row) + 3];
}

/// <summary>What hangs together with the triangle nearest to a point, across edges that bend by no more than an angle.</summary>
/// <param name="AngleDeg">Largest angle between the normals of neighbours; 180 takes the whole piece.</param>
/// <param name="AgainstSeed">Measure every normal against the seed's instead of the neighbour's: a face, not a slowly turning surface.</param>
/// <param name="ReachMm">Farthest a triangle's centre may lie from the point.</param>
public sealed record ConnectedSelection(Vec3 SeedMm, double AngleDeg, bool AgainstSeed = false, double ReachMm = double.PositiveInfinity) : SurfaceSelection
{
    /// <remarks>Breadth first over edges with two users, turned or not; triangles without area are passed through. O(triangles).</remarks>
    public override bool[] Select(Mesh mesh, RunContext run)
    {
        var chosen = new bool[mesh.TriangleCount];
        if (mesh.TriangleCount == 0)
            return chosen;
        run.ThrowIfCancelled();
        var neighbours = TriangleNeighbours.Build(mesh);
        var seed = Nearest(mesh, SeedMm - mesh.OriginMm);
        var seedNormal = Normal(mesh, seed);
        var cos = Math.Cos(AngleDeg * Math.PI / 180) - 1e-12;
        var open = new Queue<int>();
        chosen[seed] = true;
        open.Enqueue(seed);
        while (open.TryDequeue(out var t))
        {
            for (var h = 3 * t; h < (3 * t) + 3; h++)
            {
                var next = neighbours.Across(h);
                if (next < 0 || chosen[next] || Vec3.Distance(Center(mesh, next), SeedMm) > ReachMm)
                    continue;
                Vec3 n = Normal(mesh, next), m = AgainstSeed ? seedNormal : Normal(mesh, t);
                var along = Vec3.Dot(n, m) * (neighbours.IsTurned(h) && !AgainstSeed ? -1 : 1);
                if (n != Vec3.Zero && m != Vec3.Zero && along < cos)
                    continue;
                chosen[next] = true;
                open.Enqueue(next);
            }
        }

        return chosen;
    }

    private static int Nearest(Mesh mesh, Vec3 point)
    {
        var (best, distance) = (0, double.PositiveInfinity);
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            var d = TriangleShape.DistanceMm(point, mesh.Local(a), mesh.Local(b), mesh.Local(c));
            if (d < distance)
                (best, distance) = (t, d);
        }

        return best;
    }

    private static Vec3 Normal(Mesh mesh, int t)
    {
        var (a, b, c) = mesh.Triangle(t);
        return TriangleShape.Normal(mesh.Local(a), mesh.Local(b), mesh.Local(c));
    }

    private static Vec3 Center(Mesh mesh, int t)
    {
        var (a, b, c) = mesh.Triangle(t);
        return (mesh.Vertex(a) + mesh.Vertex(b) + mesh.Vertex(c)) / 3;
    }
}
