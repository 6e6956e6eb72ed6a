namespace AnatomyPrep.Records.Statements;

/// <summary>One of several solids of a run.</summary>
/// <param name="Name">As the plan has it.</param>
/// <param name="Colour">#RRGGBB.</param>
/// <param name="Files">Its own files, below the folder of the run.</param>
/// <param name="RemovedMm3">Volume that it had in common with structures before it, and that was taken from it.</param>
/// <param name="Side">Null where sides do not apply.</param>
public sealed record StructureFacts(string Name, string Colour, IReadOnlyList<string> Files, Measurements Measurements, double RemovedMm3, Side? Side = null);
