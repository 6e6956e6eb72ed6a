using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Combining;

/// <summary>What keeps a mesh from being a solid, in words, with a place.</summary>
internal static class SolidCheck
{
    /// <exception cref="CheckFailedException">The mesh is not one or more closed solids; says the first fault and where it is.</exception>
    public static MeshFacts Require(string step, string name, Mesh mesh, RunContext run)
    {
        var facts = MeshFacts.Measure(mesh, run);
        if (FirstFault(facts) is { } fault)
            throw new CheckFailedException(step, $"{name} to be a closed solid", fault);
        return facts;
    }

    /// <param name="piecesMayCross">Leave crossings and nesting to the caller.</param>
    /// <returns>Null for a solid.</returns>
    public static string? FirstFault(MeshFacts facts, bool piecesMayCross = false)
    {
        if (facts.Triangles == 0)
            return "no triangles";
        if (facts.BoundaryEdges > 0)
            return $"an open surface with {facts.BoundaryLoops} borders{At(facts, "boundaryLoops")}; fill the holes first, or give an open sheet a thickness";
        if (facts.NonManifoldEdges > 0)
            return $"{facts.NonManifoldEdges} edges with more than two triangles{At(facts, "nonManifoldEdges")}; run fix-topology first";
        if (facts.InconsistentEdges > 0)
            return $"{facts.InconsistentEdges} edges where neighbours face opposite ways{At(facts, "inconsistentEdges")}; run fix-topology first";
        if (facts.NonManifoldVertices > 0)
            return $"{facts.NonManifoldVertices} vertices where surfaces only touch{At(facts, "nonManifoldVertices")}; run fix-topology first";
        if (facts.DegenerateTriangles > 0)
            return $"{facts.DegenerateTriangles} triangles without area{At(facts, "degenerateTriangles")}; run remove-degenerates first";
        if (facts.DuplicateTriangles > 0)
            return $"{facts.DuplicateTriangles} doubled triangles{At(facts, "duplicateTriangles")}; run remove-duplicates first";
        if (piecesMayCross)
            return null;
        if (facts.SelfIntersections > 0)
            return $"{facts.SelfIntersections} pairs of crossing triangles{At(facts, "selfIntersections")}; run unite-pieces where pieces overlap, or remove-crossings";
        if (facts.InwardShells > 0)
            return $"{facts.InwardShells} pieces that face inward{At(facts, "inwardShells")}; run orient-outward first";
        return facts.Solid ? null : "a surface that is not one solid";
    }

    private static string At(MeshFacts facts, string kind) =>
        facts.Places.FirstOrDefault(p => p.Kind == kind) is { } place
            ? FormattableString.Invariant($", the first at ({place.PositionMm[0]:F2}, {place.PositionMm[1]:F2}, {place.PositionMm[2]:F2}) mm")
            : "";
}
