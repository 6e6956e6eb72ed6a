using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Which faults of connection to repair.</summary>
/// <param name="Orient">Turn patches so that neighbours run along their common edge in opposite directions.</param>
/// <param name="SplitEdges">Part the surface along edges with more than two triangles.</param>
/// <param name="SplitVertices">Part the surface at vertices where sheets only touch. Leave this off before holes are filled: two holes that touch in a vertex close better together.</param>
/// <param name="SeparationMm">
/// How far a copied vertex is moved into its own part of the surface, so that a file that joins equal points does not join the
/// parts again. Null: 2^-19 of the diagonal of the bounds, about sixteen float32 steps; 0 leaves copies in place.
/// </param>
public sealed record FixTopologyParameters(bool Orient = true, bool SplitEdges = true, bool SplitVertices = true, double? SeparationMm = null);

/// <summary>Makes a two-manifold, consistently oriented surface out of any triangles, by parting it where it is none.</summary>
/// <remarks>
/// In this order: doubled triangles (<see cref="RemoveDuplicates"/>) and triangles that name a vertex twice go; patches are
/// turned (<see cref="PatchOrientation"/>); at each edge with more than two triangles these are paired
/// (<see cref="EdgePairing"/>) and the rest become border; every vertex then gets one copy for each fan of triangles that
/// hangs together through paired edges, as in Guéziec, Taubin, Lazarus, Horn, "Cutting and stitching" (2001). Two pairs that
/// hang together around both ends of their edge cannot be told apart by vertices: one is halved
/// (<see cref="EdgeBisection"/>).
/// After it no edge has more than two triangles and, with SplitVertices, no vertex more than one fan. Only copies move, by
/// the separation. A surface with one side only (Möbius) cannot be oriented: it is cut where the walk met itself, with a
/// caution. O(triangles); peak: about 70 bytes a triangle.
/// </remarks>
public static class FixTopology
{
    private const string Step = "fix topology";

    public static RepairResult Apply(Mesh mesh, FixTopologyParameters parameters, RunContext run)
    {
        var separationMm = parameters.SeparationMm ?? (mesh.TriangleCount == 0 ? 0 : mesh.BoundsMm().Diagonal * Math.Pow(2, -19));
        ArgumentOutOfRangeException.ThrowIfNegative(separationMm, nameof(parameters));
        run.Report(Step, "double triangles", 0);
        var single = RemoveDuplicates.Apply(mesh, new(), run);
        var plain = RepeatedCorners.Drop(single.Mesh, out var repeated);
        run.ThrowIfCancelled();

        run.Report(Step, "orient", 0.3);
        var oriented = parameters.Orient ? PatchOrientation.Apply(plain) : PatchOrientation.Unchanged(plain);
        run.ThrowIfCancelled();

        run.Report(Step, "part", 0.6);
        var fans = new FanSplit(oriented.Mesh, parameters.SplitEdges, parameters.SplitVertices, cutInconsistent: parameters.Orient && parameters.SplitEdges, separationMm);
        var parted = fans.Apply();
        var bisected = 0;
        var after = parameters.SplitEdges ? EdgeBisection.Apply(parted, fans.Pairs, separationMm, out bisected) : parted;
        if (ReferenceEquals(after, mesh))
            return RepairResult.Unchanged(mesh, run, measures: Measures(single, repeated, oriented, fans, bisected));
        var changedMm2 = single.Effect.ChangedAreaMm2!.Value + oriented.TurnedAreaMm2 + fans.MovedAreaMm2;
        return RepairResult.Changed(mesh, after, changedMm2, fans.Displacement, run, Measures(single, repeated, oriented, fans, bisected), Findings(single, oriented, fans));
    }

    private static Dictionary<string, double> Measures(RepairResult single, int repeated, PatchOrientation oriented, FanSplit fans, int bisected) => new()
    {
        ["duplicatesRemoved"] = single.Effect.Measures!["duplicatesRemoved"],
        ["repeatedVertexTrianglesRemoved"] = repeated,
        ["trianglesTurned"] = oriented.Turned,
        ["oneSidedEdges"] = oriented.Conflicts,
        ["nonManifoldEdgesParted"] = fans.EdgesParted,
        ["verticesCopied"] = fans.VerticesCopied,
        ["edgesBisected"] = bisected,
    };

    private static List<Finding> Findings(RepairResult single, PatchOrientation oriented, FanSplit fans)
    {
        var findings = new List<Finding>(single.Findings);
        if (oriented.Turned > 0)
        {
            findings.Add(new(
                FindingCodes.TrianglesTurned,
                Severity.Note,
                string.Create(CultureInfo.InvariantCulture, $"{oriented.Turned} triangles faced the other way than their neighbours and were turned."),
                "Nothing to do.",
                oriented.FirstTurnedMm is { } at ? new Place(PositionMm: at) : null));
        }

        if (oriented.Conflicts > 0)
        {
            findings.Add(new(
                FindingCodes.OneSidedSurface,
                Severity.Caution,
                string.Create(CultureInfo.InvariantCulture, $"The surface has one side only; it was cut along {oriented.Conflicts} edges."),
                "Remove the twisted strip and fill the place.",
                new Place(PositionMm: oriented.FirstConflictMm)));
        }

        if (fans.VerticesCopied > 0)
        {
            findings.Add(new(
                FindingCodes.SurfaceParted,
                Severity.Note,
                string.Create(CultureInfo.InvariantCulture, $"The surface was parted at {fans.EdgesParted} edges with more than two triangles; {fans.VerticesCopied} vertices were copied."),
                "Look at the place: parts that only touched are separate now.",
                fans.FirstPlaceMm is { } place ? new Place(PositionMm: place) : null));
        }

        return findings;
    }
}
