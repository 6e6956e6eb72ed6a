using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>One object of a 3MF file.</summary>
/// <param name="Colour">The whole object's; null where each triangle shall have that of its origin.</param>
/// <param name="IsSolid">False for an open surface.</param>
public sealed record ThreeMfSolid(Mesh Mesh, string Name, Rgb? Colour, bool IsSolid = true);
