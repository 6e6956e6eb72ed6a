namespace AnatomyPrep.Phantoms.Series;

/// <summary>Where a phantom was written.</summary>
/// <param name="SeriesFolder">Holds the DICOM files and nothing else.</param>
/// <param name="TruthFile">JSON beside that folder.</param>
/// <param name="Files">File names in order of slices.</param>
public sealed record WrittenPhantom(string SeriesFolder, string TruthFile, IReadOnlyList<string> Files);
