using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Records.Inspections;

/// <summary>A scan of the printed part, laid on the model by rotation and translation only.</summary>
/// <param name="Source">The scan's files; no identifiers.</param>
/// <param name="Plan">How images of the part became a surface; left out for a scan that is one.</param>
/// <param name="ScanToModel">Images of the three unit vectors, then the translation, mm.</param>
/// <param name="ResidualMm">Root mean square distance of the nearest nine tenths of the scan to the model.</param>
/// <param name="ResidualAfterScaleMm">The same if the scan were also scaled evenly: what no scale explains.</param>
/// <param name="MirroredResidualMm">The same for the mirror image of the scan.</param>
/// <param name="Scale">Size of the part as a multiple of the model's; not part of the motion.</param>
/// <param name="CoveredShare">Share of the model's area that the scan shows.</param>
/// <param name="SignedMeanMm">Distances of the scan to the model: above 0 there is too much material.</param>
/// <param name="WithinP95Mm">95 % of the scan lies nearer than this, without sign.</param>
/// <param name="MaxAtMm">Where the largest deviation is, on the model.</param>
public sealed record RescanFacts(
    SourceFacts Source, IReadOnlyList<Vec3> ScanToModel,
    double ResidualMm, double ResidualAfterScaleMm, double MirroredResidualMm, double Scale, double CoveredShare,
    double SignedMeanMm, double RmsMm, double P5Mm, double P50Mm, double P95Mm, double WithinP95Mm, double MaxMm, Vec3 MaxAtMm, PlanFacts? Plan = null)
{
    /// <summary>Less than this of the model seen: nothing can be said of the rest.</summary>
    public const double LeastCovered = 0.5;

    /// <summary>The mirror image fits at least twice as well.</summary>
    public bool IsMirrored() => MirroredResidualMm * 2 < ResidualMm;

    /// <summary>Not even scaled does the scan lie on the model: another part, or one that is badly deformed.</summary>
    public bool IsOtherPart(double toleranceMm) => !IsMirrored() && ResidualAfterScaleMm > toleranceMm;

    public bool IsWithin(double toleranceMm) =>
        !IsMirrored() && !IsOtherPart(toleranceMm) && CoveredShare >= LeastCovered && ResidualMm <= toleranceMm && WithinP95Mm <= toleranceMm;
}
