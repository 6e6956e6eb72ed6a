using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>What to repair and how far to go.</summary>
/// <param name="Tags">Loose tags, peninsulas and spikes.</param>
/// <param name="Holes">Which holes to fill; the outer border of an open sheet stays unless asked for.</param>
/// <param name="FillHoles">False leaves every hole open.</param>
/// <param name="OpenWhatCrosses">Where nothing parts a crossing, take its triangles away: a hole that can be seen instead of a crossing.</param>
/// <param name="DropHidden">Drop closed pieces that lie in the material of another one.</param>
/// <param name="MaximumRounds">Rounds over all repairs; each one must leave fewer faults than the one before, or it is undone and the last.</param>
public sealed record CleanScanParameters(
    RemoveTagsParameters? Tags = null,
    FillHolesParameters? Holes = null,
    bool FillHoles = true,
    bool OpenWhatCrosses = true,
    bool DropHidden = true,
    int MaximumRounds = 8);

/// <summary>Makes a scanned surface whole: all repairs in their order, again and again until nothing changes.</summary>
/// <remarks>
/// First what a scanner and its files leave behind: vertices without triangle, seams, doubled triangles, loose tags, peninsulas and spikes
/// (<see cref="RemoveTags"/>). Then in rounds: topology (<see cref="FixTopology"/>, vertices where holes touch kept), triangles
/// without area (<see cref="RemoveDegenerates"/>), self-intersections (<see cref="RemoveSelfIntersections"/>), holes
/// (<see cref="Repair.FillHoles"/>, never with a fill that meets the surface), topology with vertices, sides
/// (<see cref="OrientOutward"/>).
/// Faults are counted exactly (<see cref="MeshFacts"/>) after each round and compared in this order: edges
/// with more than two triangles, vertices with more than one fan, turned edges, doubled triangles, triangles without area,
/// meeting pairs of triangles, pieces that face inward, loops of border. A round that does not lower them is undone and is the last, so
/// the rounds end; a mesh without fault and tag comes back as the same object.
/// Measured triangles that no repair touched keep the bytes of their vertices. The effect adds up the changed areas; the mean
/// displacement is the mean of the steps' means weighted by their changed areas.
/// </remarks>
public static class CleanScan
{
    private const string Step = "clean scan";

    public static RepairResult Apply(Mesh mesh, CleanScanParameters parameters, RunContext run)
    {
        ArgumentOutOfRangeException.ThrowIfNegative(parameters.MaximumRounds);
        var log = new CleanLog();
        run.Report(Step, "tags", 0);
        var tidy = log.Take(RemoveIsolatedVertices.Apply(mesh, new(), run), "vertices");
        tidy = log.Take(StitchBorders.Apply(tidy, new(), run), "seams");
        tidy = log.Take(RemoveDuplicates.Apply(tidy, new(), run), "duplicates");
        tidy = log.Take(RemoveTags.Apply(tidy, parameters.Tags ?? new(SpikeRatio: 2), run), "tags");
        if (log.Stop is { } stop)
            return RepairResult.Unchanged(mesh, run, [stop]);

        var faults = FaultCount.Of(MeshFacts.Measure(tidy, run));
        var before = faults;
        var rounds = 0;
        for (var going = true; going && rounds < parameters.MaximumRounds;)
        {
            run.Report(Step, "repair", (double)rounds / parameters.MaximumRounds);
            var mark = log.Mark();
            var next = Round(tidy, parameters, log, run);
            if (ReferenceEquals(next, tidy))
                break;
            var left = FaultCount.Of(MeshFacts.Measure(next, run));
            going = left.CompareTo(faults) < 0;
            if (going)
                (tidy, faults, rounds) = (next, left, rounds + 1);
            else
                log.BackTo(mark);
        }

        var measures = log.Measures();
        measures["rounds"] = rounds;
        measures["faultsBefore"] = before.Sum;
        measures["faultsAfter"] = faults.Sum;
        List<Finding> findings = [.. log.Findings(), .. OpenBorders(tidy)];
        return ReferenceEquals(tidy, mesh)
            ? RepairResult.Unchanged(mesh, run, findings, measures)
            : RepairResult.Changed(mesh, tidy, log.ChangedAreaMm2, log.Displacement, run, measures, findings);
    }

    private static Mesh Round(Mesh mesh, CleanScanParameters parameters, CleanLog log, RunContext run)
    {
        mesh = log.Take(FixTopology.Apply(mesh, new(SplitVertices: false), run), "topology");
        mesh = log.Take(RemoveDegenerates.Apply(mesh, new(), run), "degenerates");
        mesh = log.Take(RemoveSelfIntersections.Apply(mesh, new(OpenWhatStays: parameters.OpenWhatCrosses), run), "crossings");
        if (parameters.FillHoles)
            mesh = log.Take(Repair.FillHoles.Apply(mesh, (parameters.Holes ?? new()) with { LeaveCrossing = true }, run), "holes");
        mesh = log.Take(FixTopology.Apply(mesh, new(), run), "vertices parted");
        return log.Take(OrientOutward.Apply(mesh, new(parameters.DropHidden), run), "sides");
    }

    private static IEnumerable<Finding> OpenBorders(Mesh mesh)
    {
        foreach (var loop in BoundaryLoops.Find(mesh).Where(l => l.IsOuterBorder))
        {
            yield return new(
                FindingCodes.BorderLeftOpen,
                Severity.Caution,
                string.Create(CultureInfo.InvariantCulture, $"The outer border of an open sheet ({loop.EdgeCount} edges, {loop.DiameterMm:G4} mm wide) was left open: the model is no solid yet."),
                "Cut the sheet to its final outline and close the border, or give it a thickness.",
                new Place(PositionMm: loop.CenterMm));
        }
    }
}
