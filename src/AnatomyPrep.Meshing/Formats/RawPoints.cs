namespace AnatomyPrep.Meshing.Formats;

/// <summary>What a reader of points found: numbers as they stand in the file.</summary>
/// <param name="Positions">Three a point.</param>
/// <param name="Normals">Three a point, of any length; null when there are none.</param>
internal sealed record RawPoints(string Format, double[] Positions, float[]? Normals);
