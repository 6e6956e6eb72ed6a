using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Faults of a mesh, compared kind by kind, the gravest first.</summary>
internal readonly record struct FaultCount(
    int Meeting, int NonManifoldEdges, int NonManifoldVertices, int WithoutArea, int Doubled, int Turned, int Inward, int Loops) : IComparable<FaultCount>
{
    public int Sum => Meeting + NonManifoldEdges + NonManifoldVertices + WithoutArea + Doubled + Turned + Inward + Loops;

    public static FaultCount Of(MeshFacts facts) => new(
        facts.SelfIntersections + facts.TouchingPairs,
        facts.NonManifoldEdges,
        facts.NonManifoldVertices,
        facts.DegenerateTriangles,
        facts.DuplicateTriangles,
        facts.InconsistentEdges,
        facts.InwardShells,
        facts.BoundaryLoops);

    public int CompareTo(FaultCount other) =>
        (Meeting, NonManifoldEdges, NonManifoldVertices, WithoutArea, Doubled, Turned, Inward, Loops).CompareTo(
            (other.Meeting, other.NonManifoldEdges, other.NonManifoldVertices, other.WithoutArea, other.Doubled, other.Turned, other.Inward, other.Loops));
}
