using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Records.Statements;

/// <summary>What was measured on the finished model.</summary>
public sealed record Measurements
{
    public required MeshFacts Mesh { get; init; }

    /// <summary>Area per origin, in the order of <see cref="Origin"/>; origins without area may be left out.</summary>
    public required IReadOnlyList<OriginShare> Origins { get; init; }

    /// <summary>Distance of the model to its source's own surface; null where the source is no images, or where the model was put is not known.</summary>
    public Deviation? Deviation { get; init; }

    /// <summary>What the plan asked to be measured between named points; null where it asked nothing, or nothing could be.</summary>
    public LandmarkMeasurements? Landmarks { get; init; }

    /// <summary>Further figures, each with its unit in its name, such as "deviationP95Mm".</summary>
    public IReadOnlyDictionary<string, double>? Further { get; init; }
}

/// <param name="Share">Part of the whole area, 0 to 1.</param>
public sealed record OriginShare(Origin Origin, double AreaMm2, double Share);

/// <summary>Distance of the finished model to the surface its images gave, before repair, shaping and placing; in patient coordinates, positive outside.</summary>
public sealed record Deviation
{
    public required double SignedMeanMm { get; init; }

    /// <summary>Without sign, as all that follow.</summary>
    public required double MeanMm { get; init; }

    public required double P50Mm { get; init; }

    public required double P95Mm { get; init; }

    public required double P99Mm { get; init; }

    public required double MaxMm { get; init; }

    public required Vec3 MaxAtMm { get; init; }

    /// <summary>Of each origin the model has, in the order of <see cref="Origin"/>.</summary>
    public required IReadOnlyList<DeviationOfOrigin> Origins { get; init; }

    /// <summary>Borders of the classes, signed, ascending.</summary>
    public required IReadOnlyList<double> HistogramLimitsMm { get; init; }

    /// <summary>Share of the area in each class: one more than there are borders.</summary>
    public required IReadOnlyList<double> HistogramShares { get; init; }

    /// <summary>Where the steps put the model: images of the three unit vectors, then the translation in mm; null where it lies where the images are.</summary>
    public IReadOnlyList<Vec3>? ModelFromPatient { get; init; }
}

/// <summary>Signed distances of the triangles of one origin.</summary>
/// <param name="LargestMm">Without sign.</param>
public sealed record DeviationOfOrigin(Origin Origin, double SignedMeanMm, double P5Mm, double P50Mm, double P95Mm, double LargestMm);

/// <summary>Solidity and size of the model, as the check of a mesh gives them.</summary>
public sealed record MeshFacts
{
    public required int Vertices { get; init; }

    public required int Triangles { get; init; }

    public required int Components { get; init; }

    public required int BoundaryLoops { get; init; }

    public required int NonManifoldEdges { get; init; }

    public required int NonManifoldVertices { get; init; }

    /// <summary>Pairs of triangles that cross; null where they were not searched for.</summary>
    public int? SelfIntersections { get; init; }

    public required bool ConsistentOrientation { get; init; }

    public required bool OutwardOrientation { get; init; }

    public required bool Watertight { get; init; }

    public required bool Solid { get; init; }

    /// <summary>Null where the mesh is not closed.</summary>
    public int? Genus { get; init; }

    public required double VolumeMm3 { get; init; }

    public required double AreaMm2 { get; init; }

    /// <summary>Null for a mesh without vertices.</summary>
    public Box3? BoundsMm { get; init; }
}
