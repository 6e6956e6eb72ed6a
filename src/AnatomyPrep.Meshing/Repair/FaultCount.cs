using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Faults of a mesh, compared kind by kind in the order given here: each needs those before it put right.</summary>
internal readonly record struct FaultCount(
    int NonManifoldEdges, int NonManifoldVertices, int Turned, int Doubled, int WithoutArea, int Meeting, int Inward, int Loops) : IComparable<FaultCount>
{
    public int Sum => Meeting + NonManifoldEdges + NonManifoldVertices + WithoutArea + Doubled + Turned + Inward + Loops;

    public static FaultCount Of(MeshFacts facts) => new(
        facts.NonManifoldEdges,
        facts.NonManifoldVertices,
        facts.InconsistentEdges,
        facts.DuplicateTriangles,
        facts.DegenerateTriangles,
        facts.SelfIntersections + facts.TouchingPairs,
        facts.InwardShells,
        facts.BoundaryLoops);

    public int CompareTo(FaultCount other) =>
        (NonManifoldEdges, NonManifoldVertices, Turned, Doubled, WithoutArea, Meeting, Inward, Loops).CompareTo(
            (other.NonManifoldEdges, other.NonManifoldVertices, other.Turned, other.Doubled, other.WithoutArea, other.Meeting, other.Inward, other.Loops));
}
