using System.Text.Json.Serialization;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>Distances from the points of one surface to another.</summary>
/// <param name="MeanMm">Over the area, as all figures but the maximum.</param>
/// <param name="RmsMm">Root of the mean square.</param>
/// <param name="P50Mm">Half of the area is nearer.</param>
/// <param name="P95Mm">95 % of the area is nearer.</param>
/// <param name="MaxMm">The largest found, corners included; the one-sided Hausdorff distance is at least this.</param>
/// <param name="SignedMeanMm">Positive: outside of the other on average.</param>
/// <param name="MaxAtMm">x, y, z of the point where the largest was found.</param>
/// <param name="Samples">Points spread over the area.</param>
/// <param name="Vertices">Corners measured besides, for the maximum.</param>
public sealed record DistanceSummary(
    double MeanMm, double RmsMm, double P50Mm, double P95Mm, double MaxMm, double SignedMeanMm, double[] MaxAtMm, int Samples, int Vertices);

/// <summary>How far two surfaces lie apart, seen from both.</summary>
public sealed record SurfaceComparison
{
    /// <summary>Mean distance over the area of both surfaces together; so are all figures up to <see cref="P95Mm"/>.</summary>
    public required double MeanMm { get; init; }

    public required double RmsMm { get; init; }

    public required double P50Mm { get; init; }

    public required double P95Mm { get; init; }

    /// <summary>The larger of both maxima: the Hausdorff distance, from below.</summary>
    public required double MaxMm { get; init; }

    /// <summary>Positive when the first surface lies outside the second, over the area of both: what the second says is turned.</summary>
    public required double SignedMeanMm { get; init; }

    public required DistanceSummary FirstToSecond { get; init; }

    public required DistanceSummary SecondToFirst { get; init; }

    /// <summary>Signed distance of each vertex of the first mesh to the second, where it was asked for.</summary>
    [JsonIgnore]
    public double[]? FirstVertexMm { get; init; }

    [JsonIgnore]
    public double[]? SecondVertexMm { get; init; }
}
