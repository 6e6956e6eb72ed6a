using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>Where one of the counted faults lies.</summary>
/// <param name="Kind">Name of the count it belongs to.</param>
/// <param name="PositionMm">x, y, z.</param>
/// <param name="Triangle">A triangle there, where there is one.</param>
public sealed record MeshPlace(string Kind, double[] PositionMm, int? Triangle);

/// <summary>What can be said about a mesh as a solid, by exact tests, as it is indexed (equal positions are not joined).</summary>
/// <remarks>
/// Counts of edges, vertices, parts and the Euler characteristic leave out triangles that repeat a corner, which are counted as
/// degenerate; derivations and how the counts relate to those of other libraries: docs/methods/checks.md.
/// </remarks>
public sealed record MeshFacts
{
    /// <summary>Places listed of each kind.</summary>
    public const int PlacesPerKind = 20;

    public required int Vertices { get; init; }

    public required int Triangles { get; init; }

    /// <summary>Parts connected by shared vertices.</summary>
    public required int Components { get; init; }

    public required int BoundaryLoops { get; init; }

    /// <summary>Edges of one triangle.</summary>
    public required int BoundaryEdges { get; init; }

    /// <summary>Edges of more than two triangles.</summary>
    public required int NonManifoldEdges { get; init; }

    /// <summary>Vertices whose triangles do not form one fan.</summary>
    public required int NonManifoldVertices { get; init; }

    /// <summary>Edges that two triangles run along in the same direction.</summary>
    public required int InconsistentEdges { get; init; }

    /// <summary>Pairs of triangles that cross or lie on each other.</summary>
    public required int SelfIntersections { get; init; }

    /// <summary>Pairs of triangles that touch without crossing, beyond what they share.</summary>
    public required int TouchingPairs { get; init; }

    /// <summary>False when there are more pairs than were counted.</summary>
    public required bool AllPairsCounted { get; init; }

    /// <summary>Triangles that repeat a corner or whose corners lie exactly on one line.</summary>
    public required int DegenerateTriangles { get; init; }

    /// <summary>Triangles whose three vertices another triangle before them has too.</summary>
    public required int DuplicateTriangles { get; init; }

    /// <summary>Vertices that no triangle uses.</summary>
    public required int IsolatedVertices { get; init; }

    /// <summary>Parts that face the wrong way, see <see cref="Shell.Outward"/>.</summary>
    public required int InwardShells { get; init; }

    /// <summary>No edge with two triangles that disagree about which side is out.</summary>
    public required bool ConsistentOrientation { get; init; }

    /// <summary>Consistent, and every part faces away from the material.</summary>
    public required bool OutwardOrientation { get; init; }

    /// <summary>Every edge has exactly two triangles, in opposite directions.</summary>
    public required bool Watertight { get; init; }

    /// <summary>Watertight, outward, and free of every fault counted here but touching pairs and isolated vertices.</summary>
    public required bool Solid { get; init; }

    /// <summary>Handles of all parts together; null where the surface is open, branches or is not consistently oriented.</summary>
    public required int? Genus { get; init; }

    /// <summary>Vertices in use − edges + triangles.</summary>
    public required int EulerCharacteristic { get; init; }

    /// <summary>Signed; the volume of the solid when it is one.</summary>
    public required double VolumeMm3 { get; init; }

    public required double AreaMm2 { get; init; }

    /// <summary>Lowest and highest x, y, z of all vertices; null without vertices.</summary>
    public required double[][]? BoundsMm { get; init; }

    /// <summary>The first <see cref="PlacesPerKind"/> of each kind.</summary>
    public required IReadOnlyList<MeshPlace> Places { get; init; }

    /// <remarks>Peak memory: 5 times the mesh (tree, edges, labels). 1.2 µs a triangle and core on clean meshes.</remarks>
    /// <exception cref="Core.Findings.BadInputException">A corner is not a number, or the memory budget is too small.</exception>
    /// <exception cref="OperationCanceledException">Asked every few thousand triangles.</exception>
    public static MeshFacts Measure(Mesh mesh, RunContext run) => MeshFactsMeasure.Of(mesh, run);
}
