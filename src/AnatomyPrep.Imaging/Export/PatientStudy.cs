namespace AnatomyPrep.Imaging.Export;

/// <summary>The true identifiers of a source, for a model that goes back to its archive. Never logged, never in a record.</summary>
/// <remarks>As the files have them, decoded; empty where they have none.</remarks>
public sealed record PatientStudy(string Name, string Id, string BirthDate, string Sex, string StudyDate, string AccessionNumber);
