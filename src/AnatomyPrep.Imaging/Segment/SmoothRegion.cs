using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Imaging.Segment;

/// <summary>Takes pits and spurs off a region, and keeps thin bone that an opening would take with them.</summary>
/// <remarks>
/// Method: closing, then opening, with a ball (<see cref="Morphology"/>). The opening removes whatever is thinner than twice the
///   radius: spurs of noise, which are small pieces, and plates, which are large ones. Pieces of at least the stated
///   volume come back (an area opening of the residue; Vincent, "Morphological area openings and closings", 1994, from memory).
/// Cost and memory: four dilations and a labelling; three regions.
/// </remarks>
public static class SmoothRegion
{
    public static RegionResult Apply(Volume volume, Region region, double radiusMm, double keepThinMm3, RunContext run)
    {
        using var closed = Morphology.Close(region, volume.Map, radiusMm, run);
        using var opened = Morphology.Open(closed, volume.Map, radiusMm, run);
        // Only what the region itself had: what the closing laid across a gap and the opening took away again is not bone.
        using var residue = Morphology.Combine(region, opened, (a, b) => a & ~b, run);
        using var pieces = Components.Find(residue, volume.Map, run, Connectivity.FacesAndEdges);
        bool IsPlate(int p) => pieces.Pieces[p].VolumeMm3 >= keepThinMm3;
        using var plates = pieces.Keep(IsPlate, run);
        var smooth = Morphology.Combine(opened, plates, (a, b) => a | b, run);
        var kept = Enumerable.Range(0, pieces.Pieces.Count).Where(IsPlate).ToArray();
        var effect = RegionMeasures.Effect(region, smooth, volume.Map, run, ("thinPiecesKept", kept.Length), ("thinKeptMm3", kept.Sum(p => pieces.Pieces[p].VolumeMm3)));
        return new(smooth, effect, Array.Empty<Finding>());
    }
}
