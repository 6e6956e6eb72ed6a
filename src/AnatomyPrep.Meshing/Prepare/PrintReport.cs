using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Meshing.Prepare;

/// <summary>A map of lengths in a few numbers.</summary>
/// <param name="LimitMm">Of the profile.</param>
/// <param name="ReachMm">Nothing longer was looked for; longer lengths count as this.</param>
/// <param name="BelowMm2">Area of the places below the limit.</param>
/// <param name="Places">Worst first; specks smaller than a square of the limit are left out.</param>
public sealed record LengthSummary(double LimitMm, double ReachMm, double LeastMm, double P5Mm, double MedianMm, double BelowMm2, IReadOnlyList<ThinPlace> Places);

/// <summary>What lies on a triangle, for a picture.</summary>
public enum OverhangClass : byte
{
    Free,
    Support,
    SupportOutOfReach,
    OnBed,
    LongBridge,
}

/// <summary>Values for pictures.</summary>
/// <param name="WallMm">Largest inscribed sphere at every vertex; infinity beyond the reach.</param>
/// <param name="GapMm">The same outward.</param>
/// <param name="Overhang">Of every triangle.</param>
public sealed record PrintMaps(float[] WallMm, float[] GapMm, OverhangClass[] Overhang);

/// <summary>Whether and how a model can be printed.</summary>
/// <param name="Lies">As it lies.</param>
/// <param name="SupportErrorMm3">What the raster may have changed of the support's space.</param>
/// <param name="OutOfReach">Share of the support's contact that no straight tool reaches.</param>
/// <param name="OutOfReachAtMm">Middle of the largest triangle of it.</param>
public sealed record PrintReport(
    string Profile,
    Orientation Lies,
    double SupportErrorMm3,
    double OutOfReach,
    Vec3? OutOfReachAtMm,
    LengthSummary Walls,
    LengthSummary Gaps,
    IReadOnlyList<Island> Islands,
    TrappedPlaces Trapped,
    PlateFit Fit,
    PrintEstimate Estimate,
    IReadOnlyList<Finding> Findings)
{
    /// <summary>Null where the profile states no limit for them.</summary>
    public LongBridges? Bridges { get; init; }

    /// <summary>By name, with units, for a record.</summary>
    public SortedDictionary<string, double> Measures()
    {
        var measures = new SortedDictionary<string, double>(StringComparer.Ordinal)
        {
            ["wallLimitMm"] = Walls.LimitMm,
            ["wallLeastMm"] = Walls.LeastMm,
            ["wallP5Mm"] = Walls.P5Mm,
            ["wallMedianMm"] = Walls.MedianMm,
            ["wallBelowMm2"] = Walls.BelowMm2,
            ["wallPlaces"] = Walls.Places.Count,
            ["gapLimitMm"] = Gaps.LimitMm,
            ["gapLeastMm"] = Gaps.LeastMm,
            ["gapBelowMm2"] = Gaps.BelowMm2,
            ["gapPlaces"] = Gaps.Places.Count,
            ["islands"] = Islands.Count,
            ["closedVoids"] = Trapped.Traps.Count(t => t.Kind == TrapKind.ClosedVoid),
            ["narrowThroats"] = Trapped.Traps.Count(t => t.Kind == TrapKind.NarrowThroat),
            ["cups"] = Trapped.Traps.Count(t => t.Kind == TrapKind.Cup),
            ["trappedMm3"] = Trapped.Traps.Sum(t => t.VolumeMm3),
            ["necks"] = Trapped.Necks.Count,
            ["fitsBuildVolume"] = Fit.Fits ? 1 : 0,
        };
        if (Bridges is { } bridges)
        {
            measures["bridgeLimitMm"] = bridges.LimitMm;
            measures["bridgeLongestMm"] = bridges.Found.Count == 0 ? 0 : bridges.Found[0].SpanMm;
            measures["bridges"] = bridges.Found.Count;
        }

        AddTo(measures, Lies);
        measures["supportErrorMm3"] = SupportErrorMm3;
        measures["supportOutOfReachShare"] = OutOfReach;
        Estimate.AddTo(measures);
        return measures;
    }

    /// <summary>An orientation by name, with units.</summary>
    public static void AddTo(IDictionary<string, double> measures, Orientation lies)
    {
        measures["supportContactMm2"] = lies.ContactMm2;
        measures["supportSpaceMm3"] = lies.SupportMm3;
        measures["supportOnModelMm3"] = lies.StandingMm3;
        measures["heightMm"] = lies.HeightMm;
        measures["toppleDeg"] = lies.ToppleDeg;
    }
}
