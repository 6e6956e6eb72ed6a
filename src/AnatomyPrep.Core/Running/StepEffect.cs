namespace AnatomyPrep.Core.Running;

/// <summary>What a step did, measured; written to the record. Null where the step cannot change it.</summary>
/// <param name="ChangedAreaMm2">Area of triangles added, removed or moved.</param>
/// <param name="Measures">Further figures, each with its unit in its name.</param>
public sealed record StepEffect(
    double? ChangedAreaMm2 = null,
    double? MeanDisplacementMm = null,
    double? MaxDisplacementMm = null,
    double? VolumeBeforeMm3 = null,
    double? VolumeAfterMm3 = null,
    IReadOnlyDictionary<string, double>? Measures = null)
{
    public static StepEffect None { get; } = new();
}
