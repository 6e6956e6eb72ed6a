using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>A simplified mesh and where it came from.</summary>
/// <param name="Vertices">For each vertex the input's vertex that the others went into.</param>
/// <param name="Triangles">For each triangle the input's.</param>
/// <param name="Root">For each vertex of the input the one it went into; itself where it stayed.</param>
internal sealed record SimplifiedMesh(Mesh Mesh, int[] Vertices, int[] Triangles, int[] Root);
