using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Repair;

/// <param name="DropHidden">Drop closed pieces that lie in the material of another one; otherwise they are left as they are.</param>
public sealed record OrientOutwardParameters(bool DropHidden = true);

/// <summary>Turns whole pieces so that every triangle faces away from the material.</summary>
/// <remarks>
/// A piece in no other must have positive volume (<see cref="Shells"/>; an open one is judged by the sign of its volume about the
/// centre of its bounds, and stays where that is nearly none). A closed piece inside another one bounds a cavity when it faces
/// the other way than its surroundings; when it faces the same way it lies in material that is there without it, and is hidden:
/// nothing of it can be seen or printed. Pieces must be consistently oriented (<see cref="FixTopology"/>).
/// Cost: as <see cref="Shells"/>.
/// </remarks>
public static class OrientOutward
{
    private const string Step = "orient outward";

    public static RepairResult Apply(Mesh mesh, OrientOutwardParameters parameters, RunContext run)
    {
        run.Report(Step, "pieces", 0);
        return Apply(new SurfaceState(mesh, run), parameters, run);
    }

    internal static RepairResult Apply(SurfaceState surface, OrientOutwardParameters parameters, RunContext run)
    {
        var (mesh, shells) = (surface.Mesh, surface.Shells);
        bool[] turn = new bool[shells.All.Count], hidden = new bool[shells.All.Count];
        for (var s = 0; s < turn.Length; s++)
            Judge(shells.All, s, turn, hidden);
        if (!parameters.DropHidden)
            Array.Clear(hidden);
        var measures = new Dictionary<string, double> { ["piecesTurned"] = turn.Count(t => t), ["hiddenPiecesDropped"] = hidden.Count(h => h) };
        if (!turn.Contains(true) && !hidden.Contains(true))
            return RepairResult.Unchanged(mesh, run, measures: measures);

        var turned = Turn(mesh, shells, turn);
        var keep = new bool[mesh.TriangleCount];
        for (var t = 0; t < keep.Length; t++)
            keep[t] = shells.OfTriangle[t] < 0 || !hidden[shells.OfTriangle[t]];
        var changedMm2 = shells.All.Where((_, s) => turn[s] || hidden[s]).Sum(s => s.AreaMm2);
        return RepairResult.Changed(mesh, MeshSubset.Keep(turned, keep), changedMm2, default, run, measures, [.. Findings(mesh, shells.All, turn, hidden)]);
    }

    private static void Judge(IReadOnlyList<Shell> shells, int s, bool[] turn, bool[] hidden)
    {
        var shell = shells[s];
        if (!shell.Closed || shell.Depth == 0)
        {
            turn[s] = !shell.Outward;
            return;
        }

        // Without a sign of its own it encloses nothing and is left to others.
        var around = Surroundings(shells, s);
        if (around is null || shell.SignedVolumeMm3 == 0)
            return;
        var outside = Outermost(shells, around);
        var inverted = outside.SignedVolumeMm3 < 0;
        turn[s] = inverted;
        hidden[s] = shell.SignedVolumeMm3 > 0 == around.SignedVolumeMm3 > 0;
    }

    private static Shell Outermost(IReadOnlyList<Shell> shells, Shell shell)
    {
        while (shell.Depth > 0 && Surroundings(shells, shell) is { } around)
            shell = around;
        return shell;
    }

    private static Shell? Surroundings(IReadOnlyList<Shell> shells, int s) => Surroundings(shells, shells[s]);

    /// <summary>The closed piece one level up whose bounds hold this one's, the smallest by volume.</summary>
    private static Shell? Surroundings(IReadOnlyList<Shell> shells, Shell shell)
    {
        Shell? best = null;
        foreach (var other in shells)
        {
            if (!other.Closed || other.Depth != shell.Depth - 1 || !other.BoundsMm.Contains(shell.BoundsMm.Min) || !other.BoundsMm.Contains(shell.BoundsMm.Max))
                continue;
            if (best is null || Math.Abs(other.SignedVolumeMm3) < Math.Abs(best.SignedVolumeMm3))
                best = other;
        }

        return best;
    }

    private static Mesh Turn(Mesh mesh, Shells shells, bool[] turn)
    {
        if (!turn.Contains(true))
            return mesh;
        var triangles = mesh.Triangles.ToArray();
        for (var t = 0; t < mesh.TriangleCount; t++)
            if (shells.OfTriangle[t] >= 0 && turn[shells.OfTriangle[t]])
                (triangles[(3 * t) + 1], triangles[(3 * t) + 2]) = (triangles[(3 * t) + 2], triangles[(3 * t) + 1]);
        return new(mesh.OriginMm, mesh.PositionArray, triangles, mesh.OriginArray);
    }

    private static IEnumerable<Finding> Findings(Mesh mesh, IReadOnlyList<Shell> shells, bool[] turn, bool[] hidden)
    {
        if (Array.IndexOf(turn, true) is var first and >= 0)
        {
            yield return new(
                FindingCodes.PiecesTurned,
                Severity.Note,
                string.Create(CultureInfo.InvariantCulture, $"{turn.Count(t => t)} pieces faced inward and were turned, {shells.Where((_, s) => turn[s]).Sum(s => s.Triangles)} triangles together."),
                "Nothing to do.",
                At(mesh, shells[first]));
        }

        if (Array.IndexOf(hidden, true) is var hiddenFirst and >= 0)
        {
            yield return new(
                FindingCodes.HiddenPiecesDropped,
                Severity.Caution,
                string.Create(CultureInfo.InvariantCulture, $"{hidden.Count(h => h)} closed pieces with {shells.Where((_, s) => hidden[s]).Sum(s => s.AreaMm2):G6} mm2 lay wholly in the material of another one and were dropped."),
                "Nothing to do, unless a hollow was meant: then turn the piece over first.",
                At(mesh, shells[hiddenFirst]));
        }
    }

    private static Place At(Mesh mesh, Shell shell) => new(PositionMm: mesh.Vertex(mesh.Triangle(shell.FirstTriangle).A), FirstTriangle: shell.FirstTriangle, TriangleCount: shell.Triangles);
}
