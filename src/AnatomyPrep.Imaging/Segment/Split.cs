using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Volumes;

namespace AnatomyPrep.Imaging.Segment;

/// <summary>How to split.</summary>
/// <param name="PartsMm">For every part the points on it, LPS; at least two parts.</param>
/// <param name="GradientWeightMm">Steepness of 1000 HU/mm counts like being so much nearer to the surface; 0 looks at the shape alone.</param>
/// <param name="ReachMm">How far from a point the region may be.</param>
public sealed record SplitOptions(IReadOnlyList<IReadOnlyList<Vec3>> PartsMm, double GradientWeightMm = 1, double ReachMm = 3);

/// <summary>The parts of a region, which share no sample, and what no point lay on.</summary>
public sealed record SplitResult(IReadOnlyList<Region> Parts, Region Unseeded) : IDisposable
{
    public void Dispose()
    {
        foreach (var part in Parts)
            part.Dispose();
        Unseeded.Dispose();
    }
}

/// <summary>Parts a region at its narrow and steep places between points that lie on the parts.</summary>
/// <remarks>
/// Method: marker-controlled watershed by flooding from ordered queues; Vincent, Soille, "Watersheds in Digital Spaces", IEEE PAMI
///   13(6), 1991; Meyer, "Topographic distance and watershed lines", Signal Processing 38, 1994 (both from memory). The relief is the
///   depth below the surface of the region (<see cref="DistanceMap"/>) turned upside down, raised where HU change steeply: the two
///   bones are basins, the neck where they touch is a pass. Flooding starts at the points only, so a bone is not parted
///   at its own dents; water that comes from two points meets at the pass, and that is the cut. Samples go to the part
///   that reaches them over the lowest pass; of equal ones to the one that came first (queues keep their order). A point
///   stands for the samples within half its own depth, and all of them are wet from the beginning: put on a slope, it runs down to
///   the middle of its bone before the water of another rises over the pass.
/// The pass that counts is the lowest between two points. A part that hangs on its own point by a wall thinner than
///   the place where it touches its neighbour needs a point of its own beyond that wall.
/// Pieces: what hangs together with no point is no part; it comes back apart.
/// Cost: O(samples of the block) after the distance map, one thread (the order of a flood is its result); memory: 11 bytes a
///   sample of the block. Heights are cut into at most 65,536 steps of at least 1/16 of the finest spacing.
/// </remarks>
public static unsafe class Split
{
    private const string Step = "split";
    private const int MostParts = 250;
    private const int MostLevels = 1 << 16;

    /// <exception cref="BadInputException">A point lies outside the images or farther than the reach from the region, two parts share a sample,
    /// or the region is too large for the memory limit.</exception>
    public static SplitResult Apply(Volume volume, Region region, SplitOptions options, RunContext run)
    {
        if (options.PartsMm.Count is < 2 or > MostParts)
            throw new BadInputException(Step, "parts", $"{options.PartsMm.Count}", $"Give points for 2 to {MostParts} parts.");
        foreach (var part in options.PartsMm)
            Seeds.Nearest(volume, part, Step, "points");
        var box = RegionMeasures.Bounds(region, 1);
        var samples = (box.Columns + 2L) * (box.Rows + 2) * (box.Slices + 2);
        if (samples > int.MaxValue)
            throw new BadInputException(Step, "samples", $"{samples}", "Crop the images to the structure first.");
        run.Memory.Require(Step, 11 * samples, "Crop the images to the structure, or raise the memory limit.");
        using var distance = DistanceMap.Inside(region, volume.Map, run);
        using var flood = new Flood(volume, region, distance, options.GradientWeightMm, run);
        for (var p = 0; p < options.PartsMm.Count; p++)
            foreach (var seed in options.PartsMm[p])
                MarkBall(volume, region, distance, flood, NearestSample(volume, region, seed, options.ReachMm), p, seed);
        flood.Run(run);
        return flood.Parts(region, options.PartsMm.Count, run);
    }

    // A ball of half the depth lies well within the region, so it is all of one part.
    private static void MarkBall(Volume volume, Region region, DistanceMap distance, Flood flood, (int I, int J, int K) at, int part, Vec3 seedMm)
    {
        flood.Mark(at, part, seedMm);
        var map = volume.Map;
        var middle = map.Map(at.I, at.J, at.K);
        var radiusMm = Math.Min(distance[at.I, at.J, at.K], distance.LargestMm) / 2;
        int di = (int)(radiusMm / map.ColumnStepMm.Length) + 1, dj = (int)(radiusMm / map.RowStepMm.Length) + 1;
        for (var k = 0; k < volume.Slices; k++)
        {
            var height = Vec3.Dot(map.Normal, middle - map.SliceOriginsMm[k]);
            if (Math.Abs(height) > radiusMm)
                continue;
            var foot = map.Invert(middle - (map.Normal * height));
            for (var j = Math.Max(0, (int)foot.Y - dj); j <= Math.Min(volume.Rows - 1, (int)foot.Y + dj + 1); j++)
                for (var i = Math.Max(0, (int)foot.X - di); i <= Math.Min(volume.Columns - 1, (int)foot.X + di + 1); i++)
                    if (region[i, j, k] && Vec3.Distance(map.Map(i, j, k), middle) <= radiusMm)
                        flood.Mark((i, j, k), part, seedMm);
        }
    }

    private static (int I, int J, int K) NearestSample(Volume volume, Region region, Vec3 seedMm, double reachMm)
    {
        var map = volume.Map;
        (int, int, int)? best = null;
        var nearestMm = reachMm + 1e-9;
        for (var k = 0; k < volume.Slices; k++)
        {
            var height = Vec3.Dot(map.Normal, seedMm - map.SliceOriginsMm[k]);
            if (Math.Abs(height) > reachMm)
                continue;
            var foot = map.Invert(seedMm - (map.Normal * height));
            int di = (int)(reachMm / map.ColumnStepMm.Length) + 2, dj = (int)(reachMm / map.RowStepMm.Length) + 2;
            for (var j = Math.Max(0, (int)foot.Y - dj); j <= Math.Min(volume.Rows - 1, (int)foot.Y + dj); j++)
            {
                for (var i = Math.Max(0, (int)foot.X - di); i <= Math.Min(volume.Columns - 1, (int)foot.X + di); i++)
                {
                    var mm = Vec3.Distance(map.Map(i, j, k), seedMm);
                    if (region[i, j, k] && mm < nearestMm)
                        (best, nearestMm) = ((i, j, k), mm);
                }
            }
        }

        return best ?? throw new BadInputException(Step, "points", Seeds.Text(seedMm), FormattableString.Invariant(
            $"No sample of the region lies within {reachMm} mm: put the point on the structure, or change the threshold."));
    }

    /// <summary>Labels and waiting lists of one flood.</summary>
    private sealed class Flood : IDisposable
    {
        private const byte Outside = 255;
        private const byte Dry = 254;

        // The block with a rim of one sample that is outside, so that a step to a neighbour needs no check.
        private readonly SampleBox _box;
        private readonly int _width;
        private readonly int _plane;
        private readonly NativeBuffer<byte> _labels;
        private readonly NativeBuffer<int> _next;
        private readonly NativeBuffer<ushort> _levels;
        private readonly int[] _heads;
        private readonly int[] _tails;

        public Flood(Volume volume, Region region, DistanceMap distance, double gradientWeightMm, RunContext run)
        {
            _box = distance.Box;
            _width = _box.Columns + 2;
            _plane = _width * (_box.Rows + 2);
            var samples = (long)_plane * (_box.Slices + 2);
            _labels = new NativeBuffer<byte>(samples);
            _next = new NativeBuffer<int>(samples);
            _levels = new NativeBuffer<ushort>(samples);
            var highest = Relief(volume, region, distance, gradientWeightMm, run);
            _heads = new int[highest + 1];
            _tails = new int[highest + 1];
            Array.Fill(_heads, -1);
        }

        public void Dispose()
        {
            _labels.Dispose();
            _next.Dispose();
            _levels.Dispose();
        }

        public void Mark((int I, int J, int K) sample, int part, Vec3 seedMm)
        {
            var at = At(sample.I - _box.FirstColumn, sample.J - _box.FirstRow, sample.K - _box.FirstSlice);
            if (_labels.Pointer[at] != Dry && _labels.Pointer[at] != part)
                throw new BadInputException(Step, "points", Seeds.Text(seedMm), "A point of another part lies as near as half the depth of the region there: move one of them.");
            if (_labels.Pointer[at] == part)
                return;
            _labels.Pointer[at] = (byte)part;
            Wait(at, 0);
        }

        public void Run(RunContext run)
        {
            Span<int> around = [1, -1, _width, -_width, _plane, -_plane];
            byte* labels = _labels.Pointer;
            for (var level = 0; level < _heads.Length; level++)
            {
                if ((level & 63) == 0)
                {
                    run.ThrowIfCancelled();
                    run.Report(Step, "flooding", level / (double)_heads.Length);
                }

                // A sample lower than the water is reached at once: it waits in the present queue, behind those already there.
                // Only points stand above it, and from them the flood runs down first.
                while (_heads[level] is var at and >= 0)
                {
                    _heads[level] = _next.Pointer[at];
                    foreach (var step in around)
                    {
                        var to = at + step;
                        if (labels[to] != Dry)
                            continue;
                        labels[to] = labels[at];
                        Wait(to, Math.Max(level, _levels.Pointer[to]));
                    }
                }
            }
        }

        public SplitResult Parts(Region region, int count, RunContext run)
        {
            var parts = Enumerable.Range(0, count + 1).Select(_ => region.Like()).ToArray();
            Partition.For(run, _box.Slices, k =>
            {
                for (var j = 0; j < _box.Rows; j++)
                {
                    var labels = _labels.Pointer + At(0, j, k);
                    for (var i = 0; i < _box.Columns; i++)
                        if (labels[i] != Outside)
                            parts[labels[i] == Dry ? count : labels[i]].Set(_box.FirstColumn + i, _box.FirstRow + j, _box.FirstSlice + k, true);
                }
            });
            return new(parts[..count], parts[count]);
        }

        private int At(int i, int j, int k) => ((k + 1) * _plane) + ((j + 1) * _width) + i + 1;

        private void Wait(int at, int level)
        {
            _next.Pointer[at] = -1;
            if (_heads[level] < 0)
                _heads[level] = at;
            else
                _next.Pointer[_tails[level]] = at;
            _tails[level] = at;
        }

        // Fills labels (Dry or Outside) and levels; returns the highest level.
        private int Relief(Volume volume, Region region, DistanceMap distance, double gradientWeightMm, RunContext run)
        {
            var gradient = new GradientRows(volume);
            var steepest = new float[_box.Slices];
            if (gradientWeightMm > 0)
                Partition.For(run, _box.Slices, k => EachRow(k, region, volume, gradient, (_, _, g) => steepest[k] = Math.Max(steepest[k], g)));
            var highestMm = distance.LargestMm + (gradientWeightMm * MathF.Sqrt(steepest.DefaultIfEmpty().Max()) / 1000);
            var stepMm = Math.Max(volume.Map.FinestSpacingMm / 16, highestMm / (MostLevels - 1));
            new Span<byte>(_labels.Pointer, (int)_labels.Length).Fill(Outside);
            Partition.For(run, _box.Slices, k =>
            {
                EachRow(k, region, volume, gradient, (i, j, g) =>
                {
                    var at = At(i, j, k);
                    var deep = Math.Min(distance.Values[((((long)k * _box.Rows) + j) * _box.Columns) + i], distance.LargestMm);
                    _labels.Pointer[at] = Dry;
                    _levels.Pointer[at] = (ushort)((distance.LargestMm - deep + (gradientWeightMm * MathF.Sqrt(g) / 1000)) / stepMm);
                });
            });
            return (int)(highestMm / stepMm);
        }

        private void EachRow(int k, Region region, Volume volume, GradientRows gradient, Action<int, int, float> sample)
        {
            var squared = new float[volume.Columns];
            for (var j = 0; j < _box.Rows; j++)
            {
                if (region.Row(_box.FirstRow + j, _box.FirstSlice + k).IndexOfAnyExcept(0UL) < 0)
                    continue;
                gradient.Squared(_box.FirstRow + j, _box.FirstSlice + k, squared);
                for (var i = 0; i < _box.Columns; i++)
                    if (region[_box.FirstColumn + i, _box.FirstRow + j, _box.FirstSlice + k])
                        sample(i, j, squared[_box.FirstColumn + i]);
            }
        }
    }
}
