using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Walls;

/// <summary>Crossings in which some triangles of a mesh take part: what is left to look for when only they have changed.</summary>
/// <remarks>As exact as <see cref="SelfIntersections"/>. Cost: a tree of the mesh (0.1 µs a triangle), a few µs for each triangle asked.</remarks>
internal static class CrossingsNear
{
    private const int PieceTriangles = 256;

    /// <returns>Crossing and overlapping pairs, each once or twice.</returns>
    public static List<TrianglePair> Find(Mesh mesh, EdgeTable edges, IReadOnlyList<int> triangles, RunContext run)
    {
        var tree = TriangleTree.Build(mesh, run);
        var found = new List<TrianglePair>[Partition.Pieces(triangles.Count, PieceTriangles)];
        Partition.Ranges(run, triangles.Count, PieceTriangles, (piece, from, to) =>
        {
            var mine = found[piece] = [];
            var near = new List<int>();
            for (var i = from; i < to; i++)
            {
                var t = triangles[i];
                var (a, b, c) = mesh.Triangle(t);
                var box = Box3.Empty.Including(mesh.Local(a)).Including(mesh.Local(b)).Including(mesh.Local(c));
                near.Clear();
                tree.TrianglesNearLocal(box.Min, box.Max, near);
                foreach (var other in near)
                    if (other != t && Crosses(mesh, edges, t, other, out var contact))
                        mine.Add(new(Math.Min(t, other), Math.Max(t, other), contact));
            }
        });
        return [.. found.SelectMany(f => f)];
    }

    private static bool Crosses(Mesh mesh, EdgeTable edges, int first, int second, out Contact contact)
    {
        contact = TriangleTriangle.Classify(mesh, first, second);
        return contact is Contact.Crossing or Contact.Overlap
            || (contact == Contact.Touching && EdgeCrossing.PassesThrough(mesh, edges, Math.Min(first, second), Math.Max(first, second)));
    }
}
