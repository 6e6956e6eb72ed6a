using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Cloud;

/// <summary>What an operation on points gives back.</summary>
/// <param name="Cloud">The very same object as the input when nothing had to be done.</param>
public sealed record CloudResult(PointCloud Cloud, StepEffect Effect, IReadOnlyList<Finding> Findings);
