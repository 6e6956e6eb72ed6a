using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>Reads points, with or without normals, from PLY (its vertices, even when it has faces) or XYZ text.</summary>
/// <remarks>
/// Promise for any bytes at all: points with finite positions, or a <see cref="BadInputException"/>. Memory: see
/// each format, and 24 bytes a point. No point is left out, joined or moved; options for welding are not used.
/// </remarks>
public static class PointCloudFile
{
    private const string Step = "read points";

    /// <exception cref="BadInputException">The file cannot be read, or holds no points.</exception>
    public static PointCloudReadResult Read(string path, MeshReadOptions options, RunContext run)
    {
        using var source = ByteSource.Open(path);
        return Read(source, options, run);
    }

    /// <summary>As the other, from bytes in memory.</summary>
    /// <param name="name">File name for messages.</param>
    public static PointCloudReadResult Read(byte[] bytes, string name, MeshReadOptions options, RunContext run)
    {
        using var source = ByteSource.Of(name, bytes);
        return Read(source, options, run);
    }

    private static PointCloudReadResult Read(ByteSource source, MeshReadOptions options, RunContext run)
    {
        run.Report(Step, "file", 0);
        var raw = FileContents.Identify(source, run) switch
        {
            FileContent.Ply or FileContent.PlyPoints => PlyFormat.ReadPoints(source, run),
            FileContent.Xyz => XyzFormat.Read(source, run),
            null => throw source.Bad("content", "no point format that is known", "Give a PLY file, or text with three or six numbers a line."),
            _ => throw source.Bad("content", "a mesh, not points", "Read the file as a mesh."),
        };
        var unit = options.Unit ?? LengthUnit.Millimetre;
        var findings = new List<Finding>();
        var (originMm, positions) = StoredPositions.About(source, raw.Positions, unit.MmPer());
        var cloud = new PointCloud(originMm, positions, UnitNormals(raw.Normals, findings));
        UnitFindings.Add(findings, cloud.BoundsMm(), null, options);
        run.Report(Step, "file", 1);
        return new(cloud, raw.Format, unit, findings);
    }

    // Scanners write normals to a few digits: made one long again. Numbers that are something else (colours, say) are not
    // believed: more than one in a hundred of them off by more than a tenth, zero being "unknown".
    private static float[]? UnitNormals(float[]? normals, List<Finding> findings)
    {
        if (normals is null)
            return null;
        int strange = 0, known = 0;
        for (var i = 0; i < normals.Length; i += 3)
        {
            var length = new Vec3(normals[i], normals[i + 1], normals[i + 2]).Length;
            var scale = length > 0 && double.IsFinite(length) ? 1 / length : 0;
            known += scale > 0 ? 1 : 0;
            strange += length > 0 && !(Math.Abs(length - 1) <= 0.1) ? 1 : 0;
            for (var axis = 0; axis < 3; axis++)
                normals[i + axis] = scale > 0 ? (float)(normals[i + axis] * scale) : 0;
        }

        if (known > 0 && strange * 100L <= known)
            return normals;
        findings.Add(new(
            FindingCodes.NormalsIgnored, Severity.Caution, "The numbers where normals would be are not directions of length 1; they were not used.",
            "None needed if they are colours; otherwise export the points with normals again."));
        return null;
    }
}
