using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>Where a simplified surface crosses itself and the input did not, and where either lies too far from the other.</summary>
internal sealed class SimplifyCheck(Mesh input, double limitMm, RunContext run)
{
    private readonly Lazy<EdgeTable> _edges = new(() => EdgeTable.Build(input));
    private readonly Lazy<IntersectingPairs> _pairs = new(() => SelfIntersections.Find(input, run));

    internal Lazy<TriangleTree> Input { get; } = new(() => TriangleTree.Build(input, run));

    /// <summary>Distance to the input; null where none is stated.</summary>
    internal HausdorffBound? FromInput => double.IsInfinity(limitMm) ? null : new(Input.Value, _edges.Value, limitMm);

    /// <summary>Vertices of the input whose places in the simplified surface are at fault, each named by the one it went into.</summary>
    internal HashSet<int> Faults(SimplifiedMesh simple, TriangleTree tree)
    {
        var roots = new HashSet<int>();
        var edges = EdgeTable.Build(simple.Mesh);
        AddCrossings(simple, tree, edges, roots);
        if (double.IsInfinity(limitMm))
            return roots;
        foreach (var t in new HausdorffBound(tree, edges, limitMm).Beyond(input, run))
            for (var h = 3 * t; h < (3 * t) + 3; h++)
                roots.Add(simple.Root[input.Triangles[h]]);
        foreach (var t in FromInput!.Beyond(simple.Mesh, run))
            AddCorners(simple, t, roots);
        return roots;
    }

    private void AddCrossings(SimplifiedMesh simple, TriangleTree tree, EdgeTable edges, HashSet<int> roots)
    {
        var pairs = SelfIntersections.Find(tree, edges, run).Pairs.Where(p => p.Contact != Contact.Touching).ToList();
        if (pairs.Count == 0)
            return;
        var known = KnownCrossings(simple);
        foreach (var pair in pairs)
        {
            if (IsKnown(simple, known, pair))
                continue;
            AddCorners(simple, pair.First, roots);
            AddCorners(simple, pair.Second, roots);
        }
    }

    /// <summary>Pairs of vertices that stand for parts of the surface that cross in the input already.</summary>
    private HashSet<(int, int)> KnownCrossings(SimplifiedMesh simple)
    {
        var known = new HashSet<(int, int)>();
        foreach (var pair in _pairs.Value.Pairs)
        {
            if (pair.Contact == Contact.Touching)
                continue;
            for (var h = 3 * pair.First; h < (3 * pair.First) + 3; h++)
                for (var g = 3 * pair.Second; g < (3 * pair.Second) + 3; g++)
                {
                    int a = simple.Root[input.Triangles[h]], b = simple.Root[input.Triangles[g]];
                    known.Add((Math.Min(a, b), Math.Max(a, b)));
                }
        }

        return known;
    }

    private static bool IsKnown(SimplifiedMesh simple, HashSet<(int, int)> known, TrianglePair pair)
    {
        for (var h = 3 * pair.First; known.Count > 0 && h < (3 * pair.First) + 3; h++)
            for (var g = 3 * pair.Second; g < (3 * pair.Second) + 3; g++)
            {
                int a = simple.Vertices[simple.Mesh.Triangles[h]], b = simple.Vertices[simple.Mesh.Triangles[g]];
                if (known.Contains((Math.Min(a, b), Math.Max(a, b))))
                    return true;
            }

        return false;
    }

    private static void AddCorners(SimplifiedMesh simple, int triangle, HashSet<int> roots)
    {
        for (var h = 3 * triangle; h < (3 * triangle) + 3; h++)
            roots.Add(simple.Vertices[simple.Mesh.Triangles[h]]);
    }
}
