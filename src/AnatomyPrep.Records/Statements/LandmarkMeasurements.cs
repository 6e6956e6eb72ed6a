using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Records.Statements;

/// <summary>Named points, distances and angles on the surface of the images and on the model, both where the images are: true size.</summary>
/// <remarks>Uncertainties are of the figure on the images, after JCGM 100:2008: standard ones by their cause, their root sum of squares, and that times 2.</remarks>
public sealed record LandmarkMeasurements
{
    /// <summary>What a difference was judged by, beyond its expanded uncertainty.</summary>
    public required double ToleranceMm { get; init; }

    /// <summary>As the images' headers state it; null where they do not: the step between slices counted.</summary>
    public double? SliceThicknessMm { get; init; }

    /// <summary>In the order of the plan, as distances and angles.</summary>
    public required IReadOnlyList<LandmarkPoint> Points { get; init; }

    public required IReadOnlyList<LandmarkDistance> Distances { get; init; }

    public required IReadOnlyList<LandmarkAngle> Angles { get; init; }

    /// <summary>Null where no four points lie in no plane.</summary>
    public LandmarkHandedness? Handedness { get; init; }
}

/// <param name="SourceOffMm">From where the point was put to the surface of the images, without sign.</param>
/// <param name="SourceMm">The surface's nearest point; null where it is too far to be meant. Likewise of the model.</param>
public sealed record LandmarkPoint(string Name, Vec3 GivenMm, double SourceOffMm, double ModelOffMm, Vec3? SourceMm = null, Vec3? ModelMm = null);

/// <param name="ColumnsMm">Standard uncertainty from the step along columns; likewise rows and slices.</param>
public sealed record LandmarkDistance(
    string From, string To, double SourceMm, double ModelMm, double DifferenceMm, double ColumnsMm, double RowsMm, double SlicesMm, double StandardMm, double ExpandedMm);

/// <param name="At">The vertex.</param>
/// <param name="ColumnsDeg">Standard uncertainty from the step along columns; likewise rows and slices.</param>
public sealed record LandmarkAngle(
    string From, string At, string To, double SourceDeg, double ModelDeg, double DifferenceDeg, double ColumnsDeg, double RowsDeg, double SlicesDeg, double StandardDeg, double ExpandedDeg);

/// <summary>Which way round four points stand.</summary>
/// <param name="SourceMm3">A sixth of det[p1 − p0, p2 − p0, p3 − p0] on the images.</param>
/// <param name="ModelMm3">On the model as the files hold it.</param>
/// <param name="Mirrored">The signs differ.</param>
public sealed record LandmarkHandedness(IReadOnlyList<string> Points, double SourceMm3, double ModelMm3, double ExpandedMm3, bool Mirrored);
