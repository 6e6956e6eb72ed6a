using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Export;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>A CT series as a volume. Owns the volume.</summary>
/// <param name="Files">Every file with its hash, in slice order.</param>
/// <param name="Findings">As those of <paramref name="Facts"/>, with the files' numbers instead of their names: for records.</param>
/// <param name="PatientPseudonym">What the caller made of the Patient ID; null where there is none, or none was asked for.</param>
/// <param name="Identity">Only where it was asked for.</param>
public sealed record LoadedSeries(Volume Volume, SeriesFacts Facts, IReadOnlyList<SourceFile> Files, IReadOnlyList<Finding> Findings, string? PatientPseudonym = null, PatientStudy? Identity = null) : IDisposable
{
    public void Dispose() => Volume.Dispose();
}
