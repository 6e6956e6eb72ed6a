using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>Reads a mesh file of any known format, which its content tells; the name's extension is not asked.</summary>
/// <remarks>
/// Promise for any bytes at all: a mesh with finite positions and indices in range, or a <see cref="BadInputException"/>.
/// Memory: a fixed multiple of the file's size (of the unpacked size for 3MF, itself limited), however much its counts
/// claim; see each format. Nothing is dropped, joined, scaled or turned without a count or a finding in the result.
/// </remarks>
public static class MeshFile
{
    private const string Step = "read mesh";

    /// <exception cref="BadInputException">The file cannot be read, or holds no mesh.</exception>
    public static MeshReadResult Read(string path, MeshReadOptions options, RunContext run)
    {
        using var source = ByteSource.Open(path);
        return Read(source, options, run);
    }

    /// <summary>As the other, from bytes in memory.</summary>
    /// <param name="name">File name for messages.</param>
    public static MeshReadResult Read(byte[] bytes, string name, MeshReadOptions options, RunContext run)
    {
        using var source = ByteSource.Of(name, bytes);
        return Read(source, options, run);
    }

    /// <summary>What the file is, by its first bytes and its size; null when it is nothing known.</summary>
    /// <exception cref="BadInputException">The file cannot be read.</exception>
    public static FileContent? Identify(string path)
    {
        using var source = ByteSource.Open(path);
        return FileContents.Identify(source, RunContext.Default);
    }

    private static MeshReadResult Read(ByteSource source, MeshReadOptions options, RunContext run)
    {
        run.Report(Step, "file", 0);
        var raw = FileContents.Identify(source, run) switch
        {
            FileContent.Stl => StlFormat.Read(source, options.Weld != Welding.None, run),
            FileContent.Ply => PlyFormat.Read(source, run),
            FileContent.Obj => ObjFormat.Read(source, run),
            FileContent.Off => OffFormat.Read(source, run),
            FileContent.ThreeMf => ThreeMfFormat.Read(source, run),
            FileContent.PlyPoints or FileContent.Xyz => throw source.Bad(
                "content", "points without triangles", "Make a surface from them first: read the file as a point cloud."),
            _ => throw source.Bad("content", "no mesh format that is known", "Give an STL, PLY, OBJ, OFF or 3MF file."),
        };
        run.Report(Step, "vertices", 0.7);
        var result = Finish(source, raw, options, run);
        run.Report(Step, "vertices", 1);
        return result;
    }

    private static MeshReadResult Finish(ByteSource source, RawMesh raw, MeshReadOptions options, RunContext run)
    {
        var unit = raw.DeclaredUnit ?? options.Unit ?? LengthUnit.Millimetre;
        var (originMm, positions) = StoredPositions.InMillimetres(source, raw, unit);
        var mesh = new Mesh(originMm, positions, raw.Triangles, raw.Origins);
        var findings = raw.Findings;
        var welded = Weld(mesh, options, run);
        if (welded.MergedVertices > 0)
            findings.Add(new(
                FindingCodes.VerticesWelded, Severity.Note,
                FormattableString.Invariant($"{welded.MergedVertices} vertices were joined to others; the farthest move was {welded.LargestMoveMm:G3} mm."),
                "None needed."));
        mesh = welded.Mesh;
        if (welded.DegenerateTriangles > 0)
            mesh = Degenerate(source, mesh, welded.DegenerateTriangles, options.DropDegenerate, findings);
        UnitFindings.Add(findings, mesh.BoundsMm(), raw.DeclaredUnit, options);
        return new(
            mesh, raw.Format, raw.DeclaredUnit, unit, raw.WeldedVertices + welded.MergedVertices, welded.LargestMoveMm,
            welded.DegenerateTriangles, raw.Metadata, findings);
    }

    private static WeldResult Weld(Mesh mesh, MeshReadOptions options, RunContext run) => options.Weld switch
    {
        Welding.Equal => VertexWeld.Exact(mesh, run),
        Welding.Within => VertexWeld.Within(mesh, options.WeldToleranceMm, run),
        _ => new(mesh, 0, 0, 0, VertexWeld.CountDegenerate(mesh)),
    };

    private static Mesh Degenerate(ByteSource source, Mesh mesh, int count, bool drop, List<Finding> findings)
    {
        var said = FormattableString.Invariant($"{count} triangles have two corners on one vertex");
        findings.Add(drop
            ? new(FindingCodes.DegenerateRemoved, Severity.Note, $"{said} and were left out.", "None needed.")
            : new(FindingCodes.DegeneratePresent, Severity.Note, $"{said}.", "Repair the mesh before measuring it."));
        if (!drop)
            return mesh;
        var kept = VertexWeld.WithoutDegenerate(mesh);
        return kept.TriangleCount > 0 ? kept : throw RawMesh.NoTriangles(source);
    }
}
