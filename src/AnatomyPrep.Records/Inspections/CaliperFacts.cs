using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Records.Inspections;

/// <summary>One distance of a caliper sheet and what was read on the part.</summary>
/// <param name="Axis">x, y or z of the model.</param>
/// <param name="FromMm">Where one jaw touches, on the model.</param>
/// <param name="ExpectedMm">On the model as it should come out of the machine.</param>
/// <param name="PlacementMm">How much a careful but not exact hand may change the reading.</param>
/// <param name="ReadingsMm">In the order they were taken; at least one.</param>
public sealed record CaliperReading(string Name, string Axis, Vec3 FromMm, Vec3 ToMm, double ExpectedMm, double PlacementMm, IReadOnlyList<double> ReadingsMm)
{
    /// <summary>Of the readings.</summary>
    public double MeanMm() => ReadingsMm.Sum() / ReadingsMm.Count;

    /// <summary>Mean of the readings less what was expected.</summary>
    public double DifferenceMm() => MeanMm() - ExpectedMm;
}

/// <summary>Size of the part along an axis as a multiple of the model's.</summary>
/// <param name="Scale">Slope through the origin of readings over expected lengths, by least squares.</param>
/// <param name="StandardError">Of the slope; left out where the axis has one distance.</param>
public sealed record AxisScale(string Axis, int Count, double Scale, double? StandardError = null);

/// <summary>The distances of a sheet, measured on the part with a caliper.</summary>
/// <param name="Sheet">Code of the sheet: it changes with the model and the distances.</param>
/// <param name="Instrument">Code of the caliper.</param>
/// <param name="Agreement">Computed from the readings.</param>
/// <param name="ReadingSdMm">How far readings of the same distance scatter; left out where each was read once.</param>
/// <param name="Scales">Computed from the readings, in the order x, y, z.</param>
public sealed record CaliperFacts(
    string Sheet, IReadOnlyList<CaliperReading> Distances, LimitsOfAgreement Agreement, IReadOnlyList<AxisScale> Scales, string? Instrument = null, DateOnly? CalibratedUntil = null, double? ReadingSdMm = null)
{
    /// <exception cref="ArgumentException">Fewer than two distances, or one without a reading.</exception>
    public static CaliperFacts Of(string sheet, string? instrument, DateOnly? calibratedUntil, IReadOnlyList<CaliperReading> distances)
    {
        if (distances.Any(d => d.ReadingsMm.Count == 0))
            throw new ArgumentException("A distance has no reading.", nameof(distances));
        return new(sheet, distances, LimitsOfAgreement.Of([.. distances.Select(d => d.DifferenceMm())]), [.. Axes(distances)], instrument, calibratedUntil, Scatter(distances));
    }

    /// <summary>Standard deviation of single readings about the mean of their distance, over all distances.</summary>
    private static double? Scatter(IReadOnlyList<CaliperReading> distances)
    {
        var spare = distances.Sum(d => d.ReadingsMm.Count - 1);
        if (spare == 0)
            return null;
        double sum = 0;
        foreach (var d in distances)
        {
            var mean = d.MeanMm();
            sum += d.ReadingsMm.Sum(r => (r - mean) * (r - mean));
        }

        return Math.Sqrt(sum / spare);
    }

    private static IEnumerable<AxisScale> Axes(IReadOnlyList<CaliperReading> distances)
    {
        foreach (var axis in distances.GroupBy(d => d.Axis).OrderBy(g => g.Key, StringComparer.Ordinal))
        {
            var squares = axis.Sum(d => d.ExpectedMm * d.ExpectedMm);
            var slope = axis.Sum(d => d.ExpectedMm * d.DifferenceMm()) / squares;
            var count = axis.Count();
            double left = axis.Sum(d => Math.Pow(d.DifferenceMm() - (slope * d.ExpectedMm), 2));
            yield return new(axis.Key, count, 1 + slope, count > 1 ? Math.Sqrt(left / (count - 1) / squares) : null);
        }
    }
}
