using AnatomyPrep.Core.Findings;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.App.Pipeline;

/// <summary>What the facts of a finished model mean to the people who will rely on it.</summary>
internal static class ModelFindings
{
    public static IEnumerable<Finding> Of(MeshFacts facts)
    {
        if (facts.Triangles == 0)
        {
            yield return new(FindingCodes.MeshNotSolid, Severity.Stop, "The model is empty.", "Change the threshold or the pieces to keep.");
        }
        else if (!facts.Solid)
        {
            yield return new(FindingCodes.MeshNotSolid, Severity.Stop,
                $"The model is not one closed solid: {string.Join(", ", Faults(facts))}.", "Add repair steps to the plan; check lists the places.");
        }
        else if (facts.Components > 1)
        {
            yield return new(FindingCodes.SeveralPieces, Severity.Note,
                $"The model has {facts.Components} closed surfaces: separate pieces or inner voids.", "Check that every piece is wanted; parts that do not touch fall apart when printed.");
        }
    }

    private static IEnumerable<string> Faults(MeshFacts facts)
    {
        if (facts.BoundaryEdges > 0)
            yield return $"{facts.BoundaryEdges} open edges in {facts.BoundaryLoops} loops";
        if (facts.NonManifoldEdges > 0)
            yield return $"{facts.NonManifoldEdges} edges with more than two triangles";
        if (facts.NonManifoldVertices > 0)
            yield return $"{facts.NonManifoldVertices} vertices where surfaces only touch";
        if (facts.SelfIntersections > 0)
            yield return $"{facts.SelfIntersections} pairs of crossing triangles";
        if (facts.DegenerateTriangles > 0)
            yield return $"{facts.DegenerateTriangles} triangles without area";
        if (!facts.ConsistentOrientation || !facts.OutwardOrientation)
            yield return "triangles that face inward";
    }
}
