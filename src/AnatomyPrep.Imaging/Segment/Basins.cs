using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Volumes;

namespace AnatomyPrep.Imaging.Segment;

/// <summary>A region cut at every narrow place: one basin around each place that is deepest under its surface.</summary>
/// <remarks>
/// Method: watershed by immersion; Vincent, Soille, "Watersheds in Digital Spaces: An Efficient Algorithm Based on Immersion
///   Simulations", IEEE PAMI 13(6), 1991 (from memory), without a dividing line of its own: every sample belongs to a basin. The
///   relief is the depth under the surface (<see cref="DistanceMap"/>) turned upside down, raised where HU are steep if asked.
///   Samples taken beforehand (<see cref="Take"/>) are basins from the start.
/// Order: level by level, within one in the order of samples and then first come, first served; so the result is one, and
/// one thread makes it. Levels are 1/16 of the finest spacing, at most 65,536.
/// Cost: O(samples); memory: 6 bytes a sample of the block and 8 a sample of the region.
/// </remarks>
internal sealed unsafe class Basins : IDisposable
{
    public const int Outside = -1;
    private const int Dry = 0;
    private const int MostLevels = 1 << 16;

    private readonly NativeBuffer<int> _labels;
    private readonly NativeBuffer<ushort> _levels;
    private readonly SampleBox _box;

    // The block with a rim of one sample that is outside, so that a step to a neighbour needs no check.
    private readonly int _width;
    private readonly int _plane;
    private readonly int _highest;

    public Basins(Volume volume, Region region, DistanceMap distance, double gradientWeightMm, RunContext run)
    {
        _box = distance.Box;
        _width = _box.Columns + 2;
        _plane = _width * (_box.Rows + 2);
        var samples = (long)_plane * (_box.Slices + 2);
        _labels = new NativeBuffer<int>(samples);
        _levels = new NativeBuffer<ushort>(samples);
        new Span<int>(_labels.Pointer, (int)samples).Fill(Outside);
        _highest = Relief(volume, region, distance, gradientWeightMm, run);
    }

    /// <summary>Basins are numbered from 1 to this.</summary>
    public int Count { get; private set; }

    public void Dispose()
    {
        _labels.Dispose();
        _levels.Dispose();
    }

    /// <summary>The basin of a sample of the volume; <see cref="Outside"/> where there is none.</summary>
    public int At(int column, int row, int slice) => _labels.Pointer[Place(column - _box.FirstColumn, row - _box.FirstRow, slice - _box.FirstSlice)];

    public int NewBasin() => ++Count;

    /// <summary>Gives a sample of the region to a basin before the flood.</summary>
    public void Take(int column, int row, int slice, int basin) =>
        _labels.Pointer[Place(column - _box.FirstColumn, row - _box.FirstRow, slice - _box.FirstSlice)] = basin;

    public void Flood(RunContext run)
    {
        var order = ByLevel(out var starts);
        using var waiting = new NativeBuffer<int>(Math.Max(1, order.Length));
        int* labels = _labels.Pointer, queue = waiting.Pointer;
        Span<int> around = [1, -1, _width, -_width, _plane, -_plane];
        using (order)
        {
            for (var level = 0; level <= _highest; level++)
            {
                if ((level & 63) == 0)
                {
                    run.ThrowIfCancelled();
                    run.Report("split", "flooding", level / (_highest + 1.0));
                }

                int head = 0, tail = 0;
                for (var n = starts[level]; n < starts[level + 1]; n++)
                {
                    var at = order.Pointer[n];
                    if (labels[at] != Dry)
                        continue;
                    foreach (var step in around)
                    {
                        if (labels[at + step] <= Dry)
                            continue;
                        labels[at] = labels[at + step];
                        queue[tail++] = at;
                        break;
                    }
                }

                Spread(level, around, ref head, ref tail, queue);
                for (var n = starts[level]; n < starts[level + 1]; n++)
                {
                    var at = order.Pointer[n];
                    if (labels[at] != Dry)
                        continue;
                    labels[at] = NewBasin();
                    queue[tail++] = at;
                    Spread(level, around, ref head, ref tail, queue);
                }
            }
        }
    }

    /// <summary>Area of contact of every two basins that touch through faces, by (lower, higher) number, in mm².</summary>
    public Dictionary<(int Low, int High), double> Contacts(IndexToPatient map)
    {
        var contacts = new Dictionary<(int, int), double>();
        for (var k = 0; k < _box.Slices; k++)
        {
            Vec3 c = map.ColumnStepMm, r = map.RowStepMm, s = map.SliceStepMm(_box.FirstSlice + k);
            double across = Vec3.Cross(r, s).Length, along = Vec3.Cross(c, s).Length, flat = Vec3.Cross(c, r).Length;
            for (var j = 0; j < _box.Rows; j++)
            {
                for (var i = 0; i < _box.Columns; i++)
                {
                    var at = Place(i, j, k);
                    if (_labels.Pointer[at] == Outside)
                        continue;
                    Meet(at, at + 1, across);
                    Meet(at, at + _width, along);
                    Meet(at, at + _plane, flat);
                }
            }
        }

        return contacts;

        void Meet(int a, int b, double areaMm2)
        {
            int x = _labels.Pointer[a], y = _labels.Pointer[b];
            if (x == y || y == Outside)
                return;
            ref var area = ref System.Runtime.InteropServices.CollectionsMarshal.GetValueRefOrAddDefault(contacts, (Math.Min(x, y), Math.Max(x, y)), out _);
            area += areaMm2;
        }
    }

    /// <summary>Regions of the basins, each by the number that <paramref name="part"/> gives it.</summary>
    public Region[] Parts(Region like, int count, Func<int, int> part, RunContext run)
    {
        var parts = Enumerable.Range(0, count).Select(_ => like.Like()).ToArray();
        Partition.For(run, _box.Slices, k =>
        {
            for (var j = 0; j < _box.Rows; j++)
            {
                for (var i = 0; i < _box.Columns; i++)
                    if (_labels.Pointer[Place(i, j, k)] is var basin && basin != Outside)
                        parts[part(basin)].Set(_box.FirstColumn + i, _box.FirstRow + j, _box.FirstSlice + k, true);
            }
        });
        return parts;
    }

    private int Place(int i, int j, int k) => ((k + 1) * _plane) + ((j + 1) * _width) + i + 1;

    // On the plateau of this level, from those that wait.
    private void Spread(int level, Span<int> around, ref int head, ref int tail, int* queue)
    {
        while (head < tail)
        {
            var at = queue[head++];
            foreach (var step in around)
            {
                if (_labels.Pointer[at + step] != Dry || _levels.Pointer[at + step] > level)
                    continue;
                _labels.Pointer[at + step] = _labels.Pointer[at];
                queue[tail++] = at + step;
            }
        }
    }

    // All dry samples by level, in the order of samples within one; starts[l] is where level l begins.
    private NativeBuffer<int> ByLevel(out int[] starts)
    {
        starts = new int[_highest + 2];
        var samples = (int)_labels.Length;
        for (var at = 0; at < samples; at++)
            if (_labels.Pointer[at] == Dry)
                starts[_levels.Pointer[at] + 1]++;
        for (var l = 0; l <= _highest; l++)
            starts[l + 1] += starts[l];
        var order = new NativeBuffer<int>(starts[^1]);
        var next = starts.ToArray();
        for (var at = 0; at < samples; at++)
            if (_labels.Pointer[at] == Dry)
                order.Pointer[next[_levels.Pointer[at]]++] = at;
        return order;
    }

    // Marks the region dry and sets levels; returns the highest level.
    private int Relief(Volume volume, Region region, DistanceMap distance, double gradientWeightMm, RunContext run)
    {
        var gradient = new GradientRows(volume);
        var weight = gradientWeightMm / 1000;
        var steepest = new float[_box.Slices];
        if (weight > 0)
            Partition.For(run, _box.Slices, k => steepest[k] = Steepest(volume, region, gradient, k));
        var highestMm = distance.LargestMm + (weight * MathF.Sqrt(steepest.DefaultIfEmpty().Max()));
        var stepMm = Math.Max(volume.Map.FinestSpacingMm / 16, highestMm / (MostLevels - 1));
        Partition.For(run, _box.Slices, k =>
        {
            var squared = new float[volume.Columns];
            for (var j = 0; j < _box.Rows; j++)
            {
                if (weight > 0)
                    gradient.Squared(_box.FirstRow + j, _box.FirstSlice + k, squared);
                var deep = distance.Values + ((((long)k * _box.Rows) + j) * _box.Columns);
                for (var i = 0; i < _box.Columns; i++)
                {
                    if (!region[_box.FirstColumn + i, _box.FirstRow + j, _box.FirstSlice + k])
                        continue;
                    var at = Place(i, j, k);
                    _labels.Pointer[at] = Dry;
                    // Where the region fills the images there is no surface to be deep under.
                    var highMm = distance.LargestMm - Math.Min(deep[i], distance.LargestMm) + (weight * MathF.Sqrt(squared[_box.FirstColumn + i]));
                    _levels.Pointer[at] = (ushort)(highMm / stepMm);
                }
            }
        });
        return (int)(highestMm / stepMm);
    }

    private float Steepest(Volume volume, Region region, GradientRows gradient, int k)
    {
        var squared = new float[volume.Columns];
        var steepest = 0f;
        for (var j = 0; j < _box.Rows; j++)
        {
            gradient.Squared(_box.FirstRow + j, _box.FirstSlice + k, squared);
            for (var i = 0; i < _box.Columns; i++)
                if (region[_box.FirstColumn + i, _box.FirstRow + j, _box.FirstSlice + k])
                    steepest = Math.Max(steepest, squared[_box.FirstColumn + i]);
        }

        return steepest;
    }
}
