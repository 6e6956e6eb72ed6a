using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Repair;

public enum FillMethod
{
    /// <summary>Spacing of the rim, continuing the curvature of the surroundings.</summary>
    Smooth,

    /// <summary>Least area, between the rim's own vertices.</summary>
    Flat,
}

/// <summary>Which holes to fill and how. 0 sets no limit.</summary>
/// <param name="MaximumEdges">Loops with more edges stay open.</param>
/// <param name="MaximumDiameterMm">Loops wider than this stay open.</param>
/// <param name="MaximumAreaMm2">Loops with a larger flat area stay open.</param>
/// <param name="LoopIds">Fill these loops of <see cref="BoundaryLoops"/> and no others, whatever the limits.</param>
/// <param name="LeaveOuterBorder">Leave the outer border of an open sheet alone; not asked for named loops.</param>
/// <param name="LeaveCrossing">Leave a hole open when every fill that was tried meets the surface; otherwise the best is taken, with a caution.</param>
public sealed record FillHolesParameters(
    int MaximumEdges = 0,
    double MaximumDiameterMm = 0,
    double MaximumAreaMm2 = 0,
    IReadOnlyList<int>? LoopIds = null,
    bool LeaveOuterBorder = true,
    FillMethod Method = FillMethod.Smooth,
    bool LeaveCrossing = false);

/// <summary>Closes holes with triangles of origin filled; nothing that was there moves.</summary>
/// <remarks>
/// Per hole: triangulation (<see cref="RimTriangulation"/>), refinement (<see cref="PatchRefinement"/>), fairing
/// (<see cref="PatchFairing"/>). New vertices and triangles stand behind the old ones, hole by hole in loop order.
/// Where all of them meet the surface, the rim is triangulated anew without the chords of the triangles that did, up to a dozen
/// times. A hole whose rim can only be closed by doubling an edge of the surface stays open, with a finding.
/// </remarks>
public static class FillHoles
{
    private const string Step = "fill holes";

    public static RepairResult Apply(Mesh mesh, FillHolesParameters parameters, RunContext run)
    {
        Check(parameters);
        run.Report(Step, "find holes", 0);
        run.ThrowIfCancelled();
        var loops = BoundaryLoops.Find(mesh);
        var chosen = Choose(loops, parameters);
        if (chosen.Count == 0)
            return RepairResult.Unchanged(mesh, run, measures: new FillTally(loops.Count, parameters.LeaveCrossing).Measures());
        var patches = HolePatches.Make(mesh, chosen, parameters.Method, Step, run);
        var tally = new FillTally(loops.Count, parameters.LeaveCrossing);
        var assembly = new PatchAssembly(mesh);
        for (var i = 0; i < chosen.Count; i++)
        {
            if (patches[i] is { } patch && !(parameters.LeaveCrossing && patch.Contacts > 0))
                assembly.Add(patch);
            tally.Add(mesh, chosen[i], patches[i], parameters.Method);
        }

        return tally.Filled == 0
            ? RepairResult.Unchanged(mesh, run, tally.Findings(), tally.Measures())
            : RepairResult.Changed(mesh, assembly.Build(), tally.AreaMm2, default, run, tally.Measures(), tally.Findings());
    }

    private static void Check(FillHolesParameters parameters)
    {
        ArgumentOutOfRangeException.ThrowIfNegative(parameters.MaximumEdges);
        ArgumentOutOfRangeException.ThrowIfNegative(parameters.MaximumDiameterMm);
        ArgumentOutOfRangeException.ThrowIfNegative(parameters.MaximumAreaMm2);
    }

    private static List<BoundaryLoop> Choose(IReadOnlyList<BoundaryLoop> loops, FillHolesParameters parameters)
    {
        if (parameters.LoopIds is null)
        {
            return [.. loops.Where(l =>
                (parameters.MaximumEdges == 0 || l.EdgeCount <= parameters.MaximumEdges)
                && (parameters.MaximumDiameterMm == 0 || l.DiameterMm <= parameters.MaximumDiameterMm)
                && (parameters.MaximumAreaMm2 == 0 || l.FlatAreaMm2 <= parameters.MaximumAreaMm2)
                && !(parameters.LeaveOuterBorder && l.IsOuterBorder))];
        }

        foreach (var id in parameters.LoopIds)
        {
            if (id < 0 || id >= loops.Count)
                throw new PlanException(Step, null, nameof(parameters.LoopIds), id.ToString(CultureInfo.InvariantCulture), loops.Count == 0 ? "none, the mesh has no open border" : $"0 to {loops.Count - 1}");
        }

        return [.. parameters.LoopIds.Distinct().Order().Select(id => loops[id])];
    }
}
