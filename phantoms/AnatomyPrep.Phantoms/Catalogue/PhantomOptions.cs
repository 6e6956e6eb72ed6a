using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Phantoms.Sampling;

namespace AnatomyPrep.Phantoms.Catalogue;

/// <summary>How a phantom of the catalogue is taken; what is null is as the phantom has it.</summary>
public sealed record PhantomOptions
{
    public ulong Seed { get; init; } = 1;

    public double? NoiseSigmaHu { get; init; }

    /// <summary>Column, row and slice spacing.</summary>
    public Vec3? SpacingMm { get; init; }

    /// <summary>Half the width of every edge; 0 for steps, which want subsamples.</summary>
    public double? RampHalfWidthMm { get; init; }

    public SliceOrientation? Orientation { get; init; }

    public double GantryTiltDeg { get; init; }

    /// <summary>n³ points averaged over a voxel; 1 takes its centre.</summary>
    public int SubsamplesPerAxis { get; init; } = 1;
}
