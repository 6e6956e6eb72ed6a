using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Imaging.Segment;

/// <summary>What a step on regions gives: a new region that the caller owns, what it did, and what a person should see.</summary>
public sealed record RegionResult(Region Region, StepEffect Effect, IReadOnlyList<Finding> Findings);
