using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Faults of a mesh, compared kind by kind in the order given here: each needs those before it put right.</summary>
internal readonly record struct FaultCount(
    int NonManifoldEdges, int NonManifoldVertices, int Turned, int Doubled, int WithoutArea, int Meeting, int Inward, int Loops) : IComparable<FaultCount>
{
    public int Sum => Meeting + NonManifoldEdges + NonManifoldVertices + WithoutArea + Doubled + Turned + Inward + Loops;

    /// <param name="surface">Without triangles that name a vertex twice.</param>
    public static FaultCount Of(SurfaceState surface, RunContext run)
    {
        var (mesh, edges) = (surface.Mesh, surface.Edges);
        return new(
            edges.NonManifoldEdges,
            VertexFans.NonManifold(mesh.TriangleArray, mesh.VertexCount, edges, run).Count,
            edges.InconsistentEdges,
            RemoveDuplicates.FindGroups(mesh).Sum(g => g.Length - 1),
            CountWithoutArea(mesh, run),
            surface.Pairs.Pairs.Count,
            surface.Shells.All.Count(s => !s.Outward),
            Verify.LoopStarts.FirstHalfEdges(mesh.TriangleArray, edges).Count);
    }

    public int CompareTo(FaultCount other) =>
        (NonManifoldEdges, NonManifoldVertices, Turned, Doubled, WithoutArea, Meeting, Inward, Loops).CompareTo(
            (other.NonManifoldEdges, other.NonManifoldVertices, other.Turned, other.Doubled, other.WithoutArea, other.Meeting, other.Inward, other.Loops));

    private static int CountWithoutArea(Mesh mesh, RunContext run)
    {
        const int block = 1 << 15;
        var counts = new int[Partition.Pieces(mesh.TriangleCount, block)];
        Partition.Ranges(run, mesh.TriangleCount, block, (piece, from, to) =>
        {
            for (var t = from; t < to; t++)
            {
                var (a, b, c) = mesh.Triangle(t);
                counts[piece] += ExactPredicates.Collinear(mesh.Local(a), mesh.Local(b), mesh.Local(c)) ? 1 : 0;
            }
        });
        return counts.Sum();
    }
}
