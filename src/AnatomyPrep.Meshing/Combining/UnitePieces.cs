using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Repair;
using AnatomyPrep.Meshing.Shape;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Combining;

/// <summary>Unites all closed pieces of one mesh that overlap, so that what crossed becomes one surface.</summary>
/// <remarks>
/// A body is a piece that faces outward with the voids in it: a void belongs to the smallest piece that holds it without crossing
/// it. The union of all bodies is what lies in at least one of them, so a void stays only where no other body fills it.
/// Method, exactness and origins as in <see cref="Combine"/>. Where no bodies overlap the input comes back.
/// Measures: piecesBefore, piecesAfter, trianglesKept, trianglesNew, settledPlaces, settledMaxMm.
/// </remarks>
public static class UnitePieces
{
    private const string Step = "unite-pieces";

    /// <exception cref="CheckFailedException">A piece is open, crosses itself, or faces inward without a piece around it; nothing has changed.</exception>
    public static ShapeResult Apply(Mesh mesh, RunContext run)
    {
        run.Report(Step, "check", 0);
        var facts = MeshFacts.Measure(mesh, run);
        if (SolidCheck.FirstFault(facts, piecesMayCross: true) is { } fault)
            throw new CheckFailedException(Step, "closed pieces", fault);
        var bodies = Bodies(mesh, run);
        if (bodies.Count == 1 && facts.Solid)
            return new(mesh, Unchanged(facts), []);
        run.Report(Step, "combine", 0.4);
        using var engine = SolidEngine.Start(mesh.OriginMm, run);
        foreach (var body in bodies)
            engine.Add(body);
        var united = SolidCombination.Make(Step, engine, (e, solids) => e.Combine(BooleanOperation.Union, solids), run);
        if (united.Raw.Whole == mesh.TriangleCount && united.Mesh.TriangleCount == mesh.TriangleCount)
            return new(mesh, Unchanged(facts), []);
        RequirePlausible(bodies, united);
        return new(united.Mesh, Effect(mesh, facts, united), Findings(facts, united));
    }

    private static List<Mesh> Bodies(Mesh mesh, RunContext run)
    {
        var pieces = Pieces.Find(mesh, run);
        var tree = TriangleTree.Build(mesh, run);
        var crossing = CrossingPieces(mesh, tree, pieces, run);
        var body = new int[pieces.All.Count];
        for (var p = 0; p < body.Length; p++)
            body[p] = pieces.All[p].FacesInward ? Owner(p, mesh, tree, pieces, crossing) : p;
        var bodies = new List<Mesh>();
        for (var p = 0; p < body.Length; p++)
            if (!pieces.All[p].FacesInward)
                bodies.Add(Subset(mesh, t => body[pieces.PieceOfTriangle[t]] == p));
        return bodies;
    }

    private static HashSet<(int, int)> CrossingPieces(Mesh mesh, TriangleTree tree, Pieces pieces, RunContext run)
    {
        var crossing = new HashSet<(int, int)>();
        foreach (var pair in SelfIntersections.Find(tree, EdgeTable.Build(mesh), run).Pairs)
        {
            if (pair.Contact == Contact.Touching)
                continue;
            var (a, b) = (pieces.PieceOfTriangle[pair.First], pieces.PieceOfTriangle[pair.Second]);
            if (a == b)
            {
                var at = mesh.Vertex(mesh.Triangle(pair.First).A);
                throw new CheckFailedException(
                    Step,
                    "pieces that do not cross themselves",
                    FormattableString.Invariant($"one that does at ({at.X:F2}, {at.Y:F2}, {at.Z:F2}) mm; run remove-crossings first"));
            }

            crossing.Add((a, b));
            crossing.Add((b, a));
        }

        return crossing;
    }

    private static int Owner(int inward, Mesh mesh, TriangleTree tree, Pieces pieces, HashSet<(int, int)> crossing)
    {
        var hit = new List<int>();
        var point = mesh.Local(pieces.All[inward].TopVertex);
        tree.CrossedAlongX(point, hit);
        var owner = -1;
        foreach (var around in hit.Select(t => pieces.PieceOfTriangle[t]).GroupBy(p => p).Where(g => g.Count() % 2 == 1).Select(g => g.Key).Order())
        {
            if (around == inward || pieces.All[around].FacesInward || crossing.Contains((around, inward)))
                continue;
            if (owner < 0 || pieces.All[around].VolumeMm3 < pieces.All[owner].VolumeMm3)
                owner = around;
        }

        if (owner >= 0)
            return owner;
        var at = point + mesh.OriginMm;
        throw new CheckFailedException(
            Step,
            "pieces that face outward, and voids inside them",
            FormattableString.Invariant($"a piece that faces inward and lies in no other, with its top at ({at.X:F2}, {at.Y:F2}, {at.Z:F2}) mm; run orient first"));
    }

    private static Mesh Subset(Mesh mesh, Func<int, bool> keep)
    {
        var kept = new bool[mesh.TriangleCount];
        for (var t = 0; t < kept.Length; t++)
            kept[t] = keep(t);
        return MeshSubset.Keep(mesh, kept);
    }

    private static void RequirePlausible(List<Mesh> bodies, SolidCombination united)
    {
        var volumes = bodies.Select(b => MeshMeasures.SignedVolumeMm3(b)).ToArray();
        var slack = 1e-6 * volumes.Sum();
        if (united.Facts.VolumeMm3 < volumes.Max() - slack || united.Facts.VolumeMm3 > volumes.Sum() + slack)
            throw new CheckFailedException(
                Step,
                FormattableString.Invariant($"a volume between {volumes.Max():F3} and {volumes.Sum():F3} mm³"),
                FormattableString.Invariant($"{united.Facts.VolumeMm3:F3} mm³"));
    }

    private static StepEffect Unchanged(MeshFacts facts) => new(
        0,
        0,
        0,
        facts.VolumeMm3,
        facts.VolumeMm3,
        new SortedDictionary<string, double>(StringComparer.Ordinal) { ["piecesAfter"] = facts.Components, ["piecesBefore"] = facts.Components });

    private static StepEffect Effect(Mesh mesh, MeshFacts before, SolidCombination united) => new(
        united.ChangedAreaMm2(_ => true, MeshMeasures.AreaMm2(mesh)),
        VolumeBeforeMm3: before.VolumeMm3,
        VolumeAfterMm3: united.Facts.VolumeMm3,
        Measures: united.Measures(("piecesBefore", before.Components)));

    private static List<Finding> Findings(MeshFacts before, SolidCombination united)
    {
        List<Finding> findings =
        [
            new(
                FindingCodes.PiecesUnited,
                Severity.Note,
                FormattableString.Invariant($"{before.Components} closed surfaces were united to {united.Facts.Components}; {before.VolumeMm3 - united.Facts.VolumeMm3:F3} mm³ had been counted more than once."),
                "Parts that do not touch are still separate."),
        ];
        if (united.Settled > 0)
            findings.Add(united.SettledFinding());
        return findings;
    }
}
