using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>The pairs of triangles of one mesh that meet where they should not.</summary>
/// <param name="Pairs">In order of the first, then the second triangle.</param>
/// <param name="Complete">False when the search ended at its limit: there are more.</param>
public sealed record IntersectingPairs(IReadOnlyList<TrianglePair> Pairs, bool Complete)
{
    public int Crossing { get; } = Pairs.Count(p => p.Contact == Contact.Crossing);

    public int Overlapping { get; } = Pairs.Count(p => p.Contact == Contact.Overlap);

    public int Touching { get; } = Pairs.Count(p => p.Contact == Contact.Touching);
}

/// <summary>Finds every pair of triangles of a mesh that cross, lie on each other, or touch.</summary>
/// <remarks>
/// Method: candidates from a <see cref="TriangleTree"/>, each decided exactly by <see cref="TriangleTriangle"/>. Then the touching
///   pairs are looked at once more with their neighbours: where an edge of one surface lies in the other and its two triangles
///   leave to different sides, no two triangles have inner points in common and yet the surfaces pass through each other; such
///   pairs are reported as crossing (<see cref="EdgeCrossing"/>).
/// Counts: crossing and overlapping pairs make a mesh unfit; touching pairs (a corner resting on a face, parts that meet with
///   corners of their own) are told apart. All three together are what a test of closed triangles for common points counts.
/// Triangles without area take no part; <see cref="MeshFacts"/> counts them.
/// Cost: 0.6 µs a triangle and core on clean meshes, tree included; O(n log n + pairs). Memory: the tree and 12 bytes a pair.
/// </remarks>
public static class SelfIntersections
{
    /// <summary>Pairs after which the search gives up: nobody reads or repairs so many one by one.</summary>
    public const int DefaultMost = 5_000_000;

    public static IntersectingPairs Find(Mesh mesh, RunContext run, int most = DefaultMost) =>
        Find(TriangleTree.Build(mesh, run), EdgeTable.Build(mesh), run, most);

    /// <param name="edges">Of the same mesh.</param>
    public static IntersectingPairs Find(TriangleTree tree, EdgeTable edges, RunContext run, int most = DefaultMost)
    {
        var (pairs, complete) = tree.SelfPairs(new InOneMesh(tree.Mesh), most, run);
        for (var i = 0; i < pairs.Count; i++)
        {
            if (pairs[i].Contact != Contact.Touching)
                continue;
            if ((i & 4095) == 0)
                run.ThrowIfCancelled();
            if (EdgeCrossing.PassesThrough(tree.Mesh, edges, pairs[i].First, pairs[i].Second))
                pairs[i] = pairs[i] with { Contact = Contact.Crossing };
        }

        return new(pairs, complete);
    }

    private readonly struct InOneMesh(Mesh mesh) : IPairTest
    {
        public Contact Test(int first, int second) => TriangleTriangle.Classify(mesh, first, second);
    }
}
