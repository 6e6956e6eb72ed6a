using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>A mesh as it came out of a file, and what was done to it on the way.</summary>
/// <param name="Format">stl-binary, stl-text, ply-text, ply-little-endian, ply-big-endian, obj, off or 3mf.</param>
/// <param name="DeclaredUnit">What the file itself says; null for formats that have no unit.</param>
/// <param name="Unit">What its numbers were taken as. The mesh is in millimetres.</param>
/// <param name="WeldedVertices">Vertices that were joined to an earlier one.</param>
/// <param name="LargestWeldMoveMm">How far a vertex moved at most by welding; 0 where only equal positions were joined.</param>
/// <param name="DegenerateTriangles">Triangles with two corners on one vertex: kept, unless the options said to drop them.</param>
/// <param name="Metadata">Names and values a 3MF file carries, in no order that matters. May hold personal data: never log it.</param>
public sealed record MeshReadResult(
    Mesh Mesh,
    string Format,
    LengthUnit? DeclaredUnit,
    LengthUnit Unit,
    int WeldedVertices,
    double LargestWeldMoveMm,
    int DegenerateTriangles,
    IReadOnlyDictionary<string, string> Metadata,
    IReadOnlyList<Finding> Findings);

/// <summary>Points as they came out of a file.</summary>
/// <param name="Format">ply-text, ply-little-endian, ply-big-endian or xyz.</param>
/// <param name="Unit">What its numbers were taken as. The points are in millimetres.</param>
public sealed record PointCloudReadResult(PointCloud Cloud, string Format, LengthUnit Unit, IReadOnlyList<Finding> Findings);
