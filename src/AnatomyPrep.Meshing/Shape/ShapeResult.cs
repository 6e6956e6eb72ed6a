using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>What a shape operation gives back: a new mesh, what it did, measured, and what a person should see.</summary>
public sealed record ShapeResult(Mesh Mesh, StepEffect Effect, IReadOnlyList<Finding> Findings);
