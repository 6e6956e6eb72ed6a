using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

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
/// Faults are counted exactly, as <see cref="Verify.MeshFacts"/> counts them, after each round and compared in this order: edges
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
        tidy = log.Take(RemoveTags.Apply(RepeatedCorners.Drop(tidy, out var repeated), parameters.Tags ?? new(SpikeRatio: 1.5), run), "tags");
        if (log.Stop is { } stop)
            return RepairResult.Unchanged(mesh, run, [stop]);

        var surface = new SurfaceState(tidy, run);
        var faults = FaultCount.Of(surface, run);
        var before = faults.Sum + repeated;
        var rounds = 0;
        for (var going = true; going && rounds < parameters.MaximumRounds;)
        {
            run.Report(Step, "repair", (double)rounds / parameters.MaximumRounds);
            var mark = log.Mark();
            var next = Round(surface, parameters, log, run);
            if (ReferenceEquals(next, surface))
                break;
            var left = FaultCount.Of(next, run);
            going = left.CompareTo(faults) < 0;
            if (going)
                (surface, faults, rounds) = (next, left, rounds + 1);
            else
                log.BackTo(mark);
        }

        tidy = surface.Mesh;
        var measures = log.Measures();
        measures["rounds"] = rounds;
        measures["faultsBefore"] = before;
        measures["faultsAfter"] = faults.Sum;
        List<Finding> findings = [.. log.Findings(), .. OpenBorders(tidy)];
        return ReferenceEquals(tidy, mesh)
            ? RepairResult.Unchanged(mesh, run, findings, measures)
            : RepairResult.Changed(mesh, tidy, log.ChangedAreaMm2, log.Displacement, run, measures, findings);
    }

    private static SurfaceState Round(SurfaceState surface, CleanScanParameters parameters, CleanLog log, RunContext run)
    {
        Take(FixTopology.Apply(surface.Mesh, new(SplitVertices: false), run), "topology");
        Take(RemoveDegenerates.Apply(surface.Mesh, new(), run), "degenerates");
        Take(RemoveSelfIntersections.Apply(surface, new(OpenWhatStays: parameters.OpenWhatCrosses), run), "crossings");
        if (parameters.FillHoles)
            Take(Repair.FillHoles.Apply(surface.Mesh, (parameters.Holes ?? new()) with { LeaveCrossing = true }, run), "holes");
        Take(FixTopology.Apply(surface.Mesh, new(), run), "vertices parted");
        Take(OrientOutward.Apply(surface, new(parameters.DropHidden), run), "sides");
        return surface;

        void Take(RepairResult result, string stage) => surface = surface.For(log.Take(result, stage));
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
