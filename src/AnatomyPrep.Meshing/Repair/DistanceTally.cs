namespace AnatomyPrep.Meshing.Repair;

/// <summary>Running mean and maximum of distances in mm.</summary>
internal readonly record struct DistanceTally(int Count, double SumMm, double MaxMm)
{
    public double MeanMm => Count == 0 ? 0 : SumMm / Count;

    public DistanceTally With(double distanceMm) => new(Count + 1, SumMm + distanceMm, Math.Max(MaxMm, distanceMm));

    public DistanceTally With(DistanceTally other) => new(Count + other.Count, SumMm + other.SumMm, Math.Max(MaxMm, other.MaxMm));
}
