using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Cloud;

/// <summary>The k nearest others of every point, nearest first, by place in the tree. 4 k bytes a point.</summary>
internal sealed class NeighbourLists
{
    private readonly PointIndex _index;
    private readonly int[] _near;

    private NeighbourLists(PointIndex index, int k, int[] near)
    {
        _index = index;
        K = k;
        _near = near;
    }

    /// <summary>Length of each list: what was asked for, or all other points there are.</summary>
    internal int K { get; }

    internal static NeighbourLists Find(PointIndex index, int k, RunContext run)
    {
        k = Math.Clamp(k, 0, Math.Max(0, index.Count - 1));
        var near = GC.AllocateUninitializedArray<int>(checked(index.Count * k));
        if (k > 0)
            index.VisitNeighbours(k, run, new Keep(near, k));
        return new(index, k, near);
    }

    internal ReadOnlySpan<int> Of(int place) => _near.AsSpan(place * K, K);

    internal double DistanceSquared(int place, int other)
    {
        double dx = (double)_index.X[place] - _index.X[other], dy = (double)_index.Y[place] - _index.Y[other], dz = (double)_index.Z[place] - _index.Z[other];
        return (dx * dx) + (dy * dy) + (dz * dz);
    }

    /// <summary>Calls <paramref name="range"/> for ranges of places, on several threads.</summary>
    internal void Ranges(RunContext run, Action<int, int> range) =>
        Partition.Ranges(run, _index.Count, 1 << 13, (_, from, to) => range(from, to));

    private readonly struct Keep(int[] near, int k) : PointIndex.INeighbours
    {
        public void Visit(int place, ReadOnlySpan<int> found, ReadOnlySpan<float> squared) => found.CopyTo(near.AsSpan(place * k));
    }
}
