using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Records.Statements;

/// <summary>What was measured on the finished model.</summary>
public sealed record Measurements
{
    public required MeshFacts Mesh { get; init; }

    /// <summary>Area per origin, in the order of <see cref="Origin"/>; origins without area may be left out.</summary>
    public required IReadOnlyList<OriginShare> Origins { get; init; }

    /// <summary>Further figures, each with its unit in its name, such as "deviationP95Mm".</summary>
    public IReadOnlyDictionary<string, double>? Further { get; init; }
}

/// <param name="Share">Part of the whole area, 0 to 1.</param>
public sealed record OriginShare(Origin Origin, double AreaMm2, double Share);

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
