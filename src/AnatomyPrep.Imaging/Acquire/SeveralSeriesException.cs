namespace AnatomyPrep.Imaging.Acquire;

/// <summary>More than one CT volume could be meant, and none was chosen: exit code 3. Nothing is guessed.</summary>
/// <remarks>The message goes to logs, so it names no UID; <see cref="Series"/> has the selectors to list.</remarks>
public sealed class SeveralSeriesException(IReadOnlyList<SeriesFacts> series)
    : Exception(FormattableString.Invariant($"The source holds {series.Count} CT volumes: choose one by its series UID."))
{
    public IReadOnlyList<SeriesFacts> Series { get; } = series;
}
