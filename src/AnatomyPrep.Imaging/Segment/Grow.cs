using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Imaging.Segment;

/// <summary>What to grow into.</summary>
/// <param name="SeedsMm">Points on the structure, LPS.</param>
/// <param name="Window">HU that belong to it.</param>
/// <param name="MaxGradientHuPerMm">Samples steeper than this stop the growth; null for no limit.</param>
/// <param name="ExpandMm">How far the grown part then spreads within the window over the steep rim that stopped it.</param>
public sealed record GrowOptions(IReadOnlyList<Vec3> SeedsMm, HuWindow Window, double? MaxGradientHuPerMm = null, double ExpandMm = 0);

/// <summary>Takes what hangs together with seed points through faces, within a HU window and up to a steepness.</summary>
/// <remarks>
/// Method: seeded region growing after Adams, Bischof, "Seeded region growing", IEEE PAMI 16(6), 1994 (from memory), with a fixed
///   criterion. What a flood from the seeds would reach is exactly the pieces of the admitted samples that hold them, so it is
///   done as one labelling, in parallel. A gradient limit stops at the blurred edge between two bright neighbours that a window
///   cannot part; the rim it leaves out on the structure's own side is taken back by spreading, or the surface would lie
///   inside the true boundary and count as cut.
/// Cost: one pass over the volume, one labelling; spreading as <see cref="Morphology"/>. Memory: the region, its runs. Same
/// bits on any thread count.
/// </remarks>
public static unsafe class Grow
{
    private const string Step = "grow";

    /// <exception cref="BadInputException">A seed lies outside the images, its HU outside the window, or on too steep a place.</exception>
    public static RegionResult Apply(Volume volume, GrowOptions options, RunContext run)
    {
        var seeds = Seeds.Nearest(volume, options.SeedsMm, Step, "seedsMm");
        using var inWindow = Threshold.Apply(volume, options.Window, run);
        using var admitted = options.MaxGradientHuPerMm is { } limit ? NotSteeper(volume, inWindow, limit, run) : inWindow.Copy();
        for (var s = 0; s < seeds.Length; s++)
            Require(volume, inWindow, admitted, seeds[s], options, s);
        using var components = Components.Find(admitted, volume.Map, run);
        var hit = seeds.Select(s => components.PieceAt(s.I, s.J, s.K)).ToHashSet();
        var grown = components.Keep(hit.Contains, run);
        if (options.MaxGradientHuPerMm is null || options.ExpandMm == 0)
            return Result(volume, grown, hit.Count, run);
        using (grown)
            return Result(volume, Spread(grown, inWindow, volume.Map, options.ExpandMm, run), hit.Count, run);
    }

    /// <summary>What lies within the radius of a region and inside another one that contains it.</summary>
    internal static Region Spread(Region region, Region within, IndexToPatient map, double radiusMm, RunContext run)
    {
        using var wide = Morphology.Dilate(region, map, radiusMm, run);
        using var reached = Morphology.Combine(wide, within, (a, b) => a & b, run);
        // What the radius reaches across a gap does not hang together with the region.
        using var components = Components.Find(reached, map, run);
        var touched = Touched(components, region);
        return components.Keep(touched.Contains, run);
    }

    /// <summary>The pieces that hold a sample of a region, all of whose samples lie in pieces.</summary>
    internal static HashSet<int> Touched(Components components, Region region)
    {
        var touched = new HashSet<int>();
        for (var k = 0; k < region.Slices; k++)
        {
            for (var j = 0; j < region.Rows; j++)
            {
                var bits = region.RowPointer(j, k);
                ulong before = 0;
                for (var w = 0; w < region.WordsPerRow; w++)
                {
                    // One sample a run is enough: a run lies in one piece.
                    for (var starts = bits[w] & ~((bits[w] << 1) | before); starts != 0; starts &= starts - 1)
                        touched.Add(components.PieceAt((64 * w) + System.Numerics.BitOperations.TrailingZeroCount(starts) - 1, j, k));
                    before = bits[w] >> 63;
                }
            }
        }

        return touched;
    }

    private static Region NotSteeper(Volume volume, Region inWindow, double limitHuPerMm, RunContext run)
    {
        var admitted = inWindow.Copy();
        var gradient = new GradientRows(volume);
        var limit = (float)(limitHuPerMm * limitHuPerMm);
        Partition.For(run, volume.Slices, slice =>
        {
            Span<float> squared = new float[volume.Columns];
            for (var row = 0; row < volume.Rows; row++)
            {
                var bits = admitted.RowPointer(row, slice);
                if (admitted.Row(row, slice).IndexOfAnyExcept(0UL) < 0)
                    continue;
                gradient.Squared(row, slice, squared);
                for (var i = 0; i < squared.Length; i++)
                    if (squared[i] > limit)
                        bits[(i + 1) >> 6] &= ~(1UL << ((i + 1) & 63));
            }
        });
        return admitted;
    }

    private static void Require(Volume volume, Region inWindow, Region admitted, (int I, int J, int K) seed, GrowOptions options, int number)
    {
        if (admitted[seed.I, seed.J, seed.K])
            return;
        var hu = volume[seed.I, seed.J, seed.K];
        var place = Seeds.Text(options.SeedsMm[number]);
        throw inWindow[seed.I, seed.J, seed.K]
            ? new BadInputException(Step, "seedsMm", place, FormattableString.Invariant($"HU change by more than {options.MaxGradientHuPerMm} per mm there: put the seed further inside, or raise maxGradientHuPerMm."))
            : new BadInputException(Step, "seedsMm", place, FormattableString.Invariant($"It has {hu} HU, outside {options.Window.LowerHu} to {options.Window.UpperHu}: move the seed or change the window."));
    }

    private static RegionResult Result(Volume volume, Region grown, int pieces, RunContext run)
    {
        using var nothing = grown.Like();
        return new(grown, RegionMeasures.Effect(nothing, grown, volume.Map, run, ("pieces", pieces)), []);
    }
}
