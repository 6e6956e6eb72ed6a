using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>What hangs together with the triangle nearest to a point, across edges that bend by no more than an angle.</summary>
/// <param name="AngleDeg">Largest angle between the normals of neighbours; 180 takes the whole piece.</param>
/// <param name="AgainstSeed">Measure every normal against the seed's instead of the neighbour's: a face, not a slowly turning surface.</param>
/// <param name="ReachMm">Farthest a triangle's centre may lie from the point.</param>
public sealed record ConnectedSelection(Vec3 SeedMm, double AngleDeg, bool AgainstSeed = false, double ReachMm = double.PositiveInfinity)
{
    /// <summary>One flag per triangle.</summary>
    /// <remarks>Breadth first over edges with two users, turned or not; triangles without area are passed through. O(triangles).</remarks>
    public bool[] Select(Mesh mesh, RunContext run)
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
