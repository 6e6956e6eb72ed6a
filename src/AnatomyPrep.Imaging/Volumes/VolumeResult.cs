using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Imaging.Volumes;

/// <summary>What a step on volumes gives: a new volume that the caller owns, what it did, and what a person should see.</summary>
public sealed record VolumeResult(Volume Volume, StepEffect Effect, IReadOnlyList<Finding> Findings);
