using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Imaging.Segment;

/// <summary>Keeps or drops the connected pieces of a region that points lie on.</summary>
/// <remarks>
/// A point takes the nearest sample of the region within <c>reachMm</c>, so that it need not hit the structure exactly; of
/// several equally near the first in the order of slices, rows and columns. Pieces hang together through faces
/// (<see cref="Components"/>). Cost and memory: one labelling.
/// </remarks>
public static class SelectPieces
{
    private const string Step = "select-pieces";

    /// <exception cref="BadInputException">A point lies outside the images, or no sample of the region within reach.</exception>
    public static RegionResult Apply(Volume volume, Region region, IReadOnlyList<Vec3> seedsMm, double reachMm, bool keep, RunContext run)
    {
        Seeds.Nearest(volume, seedsMm, Step, "seedsMm");
        using var components = Components.Find(region, volume.Map, run);
        var hit = seedsMm.Select(s => PieceNear(volume, components, s, reachMm)).ToHashSet();
        var kept = components.Keep(p => hit.Contains(p) == keep, run);
        var pieces = components.Pieces;
        var effect = RegionMeasures.Effect(region, kept, volume.Map, run, ("piecesBefore", pieces.Count), ("piecesAfter", keep ? hit.Count : pieces.Count - hit.Count));
        var largest = Enumerable.Range(0, pieces.Count).Where(p => hit.Contains(p) != keep).Select(p => pieces[p].VolumeMm3).DefaultIfEmpty().First();
        return new(kept, effect, largest == 0 ? [] :
        [
            new(FindingCodes.FragmentsDropped, Severity.Note,
                FormattableString.Invariant($"{(keep ? pieces.Count - hit.Count : hit.Count)} separate pieces were left out; the largest has {largest:F1} mm³, together {effect.Measures!["removedMm3"]:F1} mm³."),
                "Check on the sections that no anatomy is missing."),
        ]);
    }

    /// <summary>Number of the piece nearest to a point.</summary>
    internal static int PieceNear(Volume volume, Components components, Vec3 seedMm, double reachMm)
    {
        var map = volume.Map;
        var at = map.Invert(seedMm);
        int best = -1;
        var nearestMm = reachMm + 1e-9;
        for (var k = 0; k < volume.Slices; k++)
        {
            if (Math.Abs(Vec3.Dot(map.Normal, map.SliceOriginsMm[k] - seedMm)) > reachMm)
                continue;
            // In this slice the point's foot lies at fractional (i, j); a disc of the radius fits into this box.
            var foot = map.Invert(seedMm - (map.Normal * Vec3.Dot(map.Normal, seedMm - map.SliceOriginsMm[k])));
            int di = (int)Math.Ceiling(reachMm / map.ColumnStepMm.Length) + 1, dj = (int)Math.Ceiling(reachMm / map.RowStepMm.Length) + 1;
            for (var j = Math.Max(0, (int)foot.Y - dj); j <= Math.Min(volume.Rows - 1, (int)foot.Y + dj); j++)
            {
                for (var i = Math.Max(0, (int)foot.X - di); i <= Math.Min(volume.Columns - 1, (int)foot.X + di); i++)
                {
                    var mm = Vec3.Distance(map.Map(i, j, k), seedMm);
                    if (mm < nearestMm && components.PieceAt(i, j, k) is var piece and >= 0)
                        (best, nearestMm) = (piece, mm);
                }
            }
        }

        return best >= 0
            ? best
            : throw new BadInputException(Step, "seedsMm", Seeds.Text(seedMm), FormattableString.Invariant(
                $"No sample of the region lies within {reachMm} mm (the images have {volume[(int)Math.Round(at.X), (int)Math.Round(at.Y), (int)Math.Round(at.Z)]} HU there): move the point or raise reachMm."));
    }
}
