using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Cloud;

/// <summary>How far the points lie from the surface laid through them, by the field between its nodes.</summary>
internal sealed record PointResiduals(double MeanMm, double P95Mm, double MaxMm)
{
    internal static PointResiduals Of(SignedField field, PointIndex index, bool[] used, RunContext run)
    {
        var distance = new float[index.Count];
        Partition.Ranges(run, distance.Length, 1 << 13, (_, from, to) =>
        {
            for (var p = from; p < to; p++)
                distance[p] = used[p] ? MathF.Abs(field.Between(index.X[p], index.Y[p], index.Z[p])) : float.NaN;
        });
        distance = Array.FindAll(distance, d => !float.IsNaN(d));
        if (distance.Length == 0)
            return new(0, 0, 0);
        Array.Sort(distance);
        double sum = 0;
        foreach (var d in distance)
            sum += d;
        return new(sum / distance.Length, PointSpacing.Percentile(distance, 0.95), distance[^1]);
    }
}
