namespace AnatomyPrep.Meshing.Repair;

/// <summary>Running mean and maximum of distances in mm.</summary>
internal readonly record struct Displacement(int Count, double SumMm, double MaxMm)
{
    public double MeanMm => Count == 0 ? 0 : SumMm / Count;

    public Displacement With(double distanceMm) => new(Count + 1, SumMm + distanceMm, Math.Max(MaxMm, distanceMm));

    public Displacement With(Displacement other) => new(Count + other.Count, SumMm + other.SumMm, Math.Max(MaxMm, other.MaxMm));
}
