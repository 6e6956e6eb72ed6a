using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Imaging.Segment;

/// <summary>Takes closed voids inside a region into it.</summary>
/// <remarks>
/// A void is a piece of the outside, connected through faces and edges, that does not reach the border of the images: exactly
/// what the extracted surface would enclose. Cost as <see cref="Components"/>.
/// </remarks>
public static class FillCavities
{
    /// <summary>Fills every void up to the given volume.</summary>
    /// <returns>The region with its voids filled, and the voids that were, largest first.</returns>
    public static (Region Region, IReadOnlyList<Component> Filled) Apply(Region region, IndexToPatient map, double maxVolumeMm3, RunContext run)
    {
        using var outside = Morphology.Complement(region, run);
        using var pieces = Components.Find(outside, map, run, Connectivity.FacesAndEdges);
        bool IsVoid(int p) => !pieces.Pieces[p].AtBorder && pieces.Pieces[p].VolumeMm3 <= maxVolumeMm3;
        using var voids = pieces.Keep(IsVoid, run);
        return (Morphology.Combine(region, voids, (a, b) => a | b, run), [.. pieces.Pieces.Where((_, p) => IsVoid(p))]);
    }
}
