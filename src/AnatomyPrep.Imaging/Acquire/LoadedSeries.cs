using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>A CT series as a volume. Owns the volume.</summary>
/// <param name="Files">Every file with its hash, in slice order.</param>
public sealed record LoadedSeries(Volume Volume, SeriesFacts Facts, IReadOnlyList<SourceFile> Files, IReadOnlyList<Finding> Findings) : IDisposable
{
    public void Dispose() => Volume.Dispose();
}
