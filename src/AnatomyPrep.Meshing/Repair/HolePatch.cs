using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>How a hole was closed, from what was asked for to the plainest.</summary>
internal enum PatchShape
{
    /// <summary>Continues the curvature of the surroundings.</summary>
    Curved,

    /// <summary>Joins on without a crease and is as flat as that allows.</summary>
    ThinPlate,

    /// <summary>Least area between the rim's own vertices.</summary>
    Flat,
}

/// <summary>What closes one hole.</summary>
/// <param name="Rim">Mesh vertices in the direction of the patch.</param>
/// <param name="NewPoints">Relative to the mesh's origin, rounded to float32.</param>
/// <param name="Triangles">Indices below the rim's count are rim corners, the others new points.</param>
/// <param name="Contacts">Pairs of triangles that meet where they should not; 0 unless nothing better could be made.</param>
internal sealed record HolePatch(int[] Rim, Vec3[] NewPoints, (int A, int B, int C)[] Triangles, PatchShape Shape, int Contacts = 0)
{
    private const double MostDistances = 2e7;

    public Vec3 Point(Mesh mesh, int v) => v < Rim.Length ? mesh.Local(Rim[v]) : NewPoints[v - Rim.Length];

    public double AreaMm2(Mesh mesh)
    {
        double sum = 0;
        foreach (var (a, b, c) in Triangles)
        {
            var p = Point(mesh, a);
            sum += Vec3.Cross(Point(mesh, b) - p, Point(mesh, c) - p).Length / 2;
        }

        return sum;
    }

    /// <summary>Largest distance of a triangle's centre from the rim; of every so many centres where rim times triangles passes 2e7.</summary>
    public double FarthestFromRimMm(Mesh mesh)
    {
        var rim = Array.ConvertAll(Rim, mesh.Local);
        var stride = (int)Math.Ceiling(rim.Length * (double)Triangles.Length / MostDistances);
        double farthest = 0;
        for (var t = 0; t < Triangles.Length; t += stride)
        {
            var (a, b, c) = Triangles[t];
            var center = (Point(mesh, a) + Point(mesh, b) + Point(mesh, c)) / 3;
            var nearest = double.PositiveInfinity;
            for (var i = 0; i < rim.Length; i++)
                nearest = Math.Min(nearest, TriangleShape.DistanceMm(center, rim[i], rim[(i + 1) % rim.Length]));
            farthest = Math.Max(farthest, nearest);
        }

        return farthest;
    }
}
