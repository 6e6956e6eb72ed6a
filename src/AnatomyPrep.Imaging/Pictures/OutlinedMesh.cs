using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Imaging.Pictures;

/// <summary>A mesh whose outline goes on slices.</summary>
/// <param name="Word">For the legend; null where the origins of its triangles stand there.</param>
/// <param name="Colour">Of its outline; null for the colours of the triangles' origins.</param>
public sealed record OutlinedMesh(Mesh Mesh, string? Word = null, Rgb? Colour = null);
