using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Cloud;

/// <summary>How far apart the points lie.</summary>
internal static class PointSpacing
{
    /// <summary>Neighbours that a local spacing is taken from.</summary>
    internal const int Neighbours = 8;

    /// <summary>Spacing around each point, by place in the tree: side of the square that one point of the surface has to itself.</summary>
    /// <remarks>k points on a disc of radius r have the density k / (π r²), and the spacing is one over the root of the density.</remarks>
    internal static float[] Local(PointIndex index, NeighbourLists lists, RunContext run)
    {
        var spacing = new float[index.Count];
        var k = Math.Min(Neighbours, lists.K);
        if (k == 0)
            return spacing;
        lists.Ranges(run, (from, to) =>
        {
            for (var p = from; p < to; p++)
                spacing[p] = (float)Math.Sqrt(lists.DistanceSquared(p, lists.Of(p)[k - 1]) * Math.PI / k);
        });
        return spacing;
    }

    /// <summary>The value that a part of all lies below; 0 without values. Leaves the values as they are.</summary>
    internal static float Percentile(ReadOnlySpan<float> values, double part)
    {
        if (values.IsEmpty)
            return 0;
        var sorted = values.ToArray();
        Array.Sort(sorted);
        return sorted[Math.Clamp((int)Math.Ceiling(part * sorted.Length) - 1, 0, sorted.Length - 1)];
    }
}
