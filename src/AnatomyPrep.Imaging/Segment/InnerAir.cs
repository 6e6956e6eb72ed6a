using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Imaging.Segment;

/// <summary>A lid across an opening: a disc that air does not pass.</summary>
public readonly record struct Lid(Vec3 PointMm, Vec3 Normal, double RadiusMm);

/// <summary>What counts as inner air.</summary>
/// <param name="UpperHu">Air has at most this; the surface lies on it.</param>
/// <param name="SealMm">Openings narrower than twice this are closed by themselves; 0 closes none.</param>
/// <param name="Lids">Discs that close openings where a person wants them closed.</param>
/// <param name="SeedsMm">Points in the wanted spaces; none means all.</param>
/// <param name="MinVolumeMm3">Smaller spaces are left out.</param>
/// <param name="ReachMm">How far from a point its space may be.</param>
/// <param name="Support">How table and headrest are told from the body, so that the air between them and the skin is outer air; null takes them for body.</param>
public sealed record InnerAirOptions(
    short UpperHu, double SealMm, IReadOnlyList<Lid> Lids, IReadOnlyList<Vec3> SeedsMm, double MinVolumeMm3 = 0, double ReachMm = 3, SupportOptions? Support = null);

/// <summary>The air inside a body: airways and sinuses, closed where they open to the outside.</summary>
/// <remarks>
/// Air by a window, less the outer air (<see cref="BodyHull"/>; a support counts as such, <see cref="RemoveSupport"/>), less lids. A lid is as thick as it must be so that no step from
/// sample to sample through faces passes it. Where air was parted from air the surface is marked cut; everywhere else grey
/// values place it. Cost and memory: as the outer air, and one labelling.
/// </remarks>
public static class InnerAir
{
    private const string Step = "inner-air";

    /// <exception cref="BadInputException">A lid has no direction, or a point lies outside the images or in no inner air.</exception>
    public static RegionResult Apply(Volume volume, InnerAirOptions options, RunContext run)
    {
        using var air = Threshold.Apply(volume, new(short.MinValue, options.UpperHu), run);
        using var open = options.Support is { } support ? NotBody(volume, air, support, run) : air.Copy();
        foreach (var lid in options.Lids)
        {
            Close(open, volume.Map, lid, run);
            Close(air, volume.Map, lid, run);
        }

        using var outer = BodyHull.OuterAir(open, volume.Map, options.SealMm, run);
        using var inner = Morphology.Combine(air, outer, (a, b) => a & ~b, run);
        using var spaces = Components.Find(inner, volume.Map, run);
        var wanted = options.SeedsMm.Select(s => SelectPieces.PieceNear(volume, spaces, s, options.ReachMm)).ToHashSet();
        bool Keep(int p) => options.SeedsMm.Count > 0 ? wanted.Contains(p) : spaces.Pieces[p].VolumeMm3 >= options.MinVolumeMm3;
        var region = spaces.Keep(Keep, run);
        var kept = Enumerable.Range(0, spaces.Pieces.Count).Count(Keep);
        using var nothing = region.Like();
        var effect = RegionMeasures.Effect(nothing, region, volume.Map, run, ("spaces", kept), ("spacesLeftOut", spaces.Pieces.Count - kept));
        return new(region, effect, []);
    }

    private static Region NotBody(Volume volume, Region air, SupportOptions support, RunContext run)
    {
        using var solid = Morphology.Complement(air, run);
        using var body = RemoveSupport.Apply(volume, solid, support, run).Region;
        return Morphology.Complement(body, run);
    }

    private static void Close(Region air, IndexToPatient map, Lid lid, RunContext run)
    {
        if (!(lid.Normal.Length > 0))
            throw new BadInputException(Step, "lidNormals", Seeds.Text(lid.Normal), "Give the direction across the opening, of any length but zero.");
        var n = lid.Normal.Normalized();
        Partition.For(run, air.Slices, k =>
        {
            // Half of the widest step along any axis: of two neighbours on either side of the plane one is then taken.
            var half = 0.5001 * new[] { map.ColumnStepMm, map.RowStepMm, map.SliceStepMm(k), map.SliceStepMm(k - 1) }.Max(step => Math.Abs(Vec3.Dot(n, step)));
            for (var j = 0; j < air.Rows; j++)
            {
                for (var i = 0; i < air.Columns; i++)
                {
                    var from = map.Map(i, j, k) - lid.PointMm;
                    var height = Vec3.Dot(n, from);
                    if (Math.Abs(height) <= half && (from - (n * height)).LengthSquared <= lid.RadiusMm * lid.RadiusMm)
                        air.Set(i, j, k, false);
                }
            }
        });
    }
}
