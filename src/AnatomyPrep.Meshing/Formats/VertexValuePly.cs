using System.Buffers.Binary;
using System.Text;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>A mesh with one number for every vertex, as binary PLY 1.0 (see <see cref="PlyFormat"/>).</summary>
/// <remarks>x, y, z and the value as float a vertex, in patient millimetres; vertex_indices a face. Memory: 256 KiB a thread.</remarks>
public static class VertexValuePly
{
    private const string Step = "write PLY";
    private const int VertexBytes = 16;
    private const int FaceBytes = 13;

    /// <summary>Writes a new file. On failure or cancel none stays.</summary>
    /// <param name="property">Name of the value: letters, digits and underscores.</param>
    /// <param name="values">One per vertex.</param>
    /// <param name="comment">One line, without personal data.</param>
    public static void Write(Mesh mesh, string property, float[] values, string path, string comment, RunContext run)
    {
        ArgumentOutOfRangeException.ThrowIfNotEqual(values.Length, mesh.VertexCount);
        var header = Encoding.UTF8.GetBytes(FormattableString.Invariant(
            $"ply\nformat binary_little_endian 1.0\ncomment {comment}\nelement vertex {mesh.VertexCount}\nproperty float x\nproperty float y\nproperty float z\nproperty float {property}\nelement face {mesh.TriangleCount}\nproperty list uchar int vertex_indices\nend_header\n"));
        var faces = header.Length + ((long)VertexBytes * mesh.VertexCount);
        OutputFile.Write(path, faces + ((long)FaceBytes * mesh.TriangleCount), file =>
        {
            run.Report(Step, "vertices", 0);
            RandomAccess.Write(file, header, 0);
            RecordBlocks.Write(file, header.Length, mesh.VertexCount, VertexBytes, (block, first) => FillVertices(mesh, values, block, first), run);
            RecordBlocks.Write(file, faces, mesh.TriangleCount, FaceBytes, (block, first) => FillFaces(mesh, block, first), run);
        });
        run.Report(Step, "triangles", 1);
    }

    private static void FillVertices(Mesh mesh, float[] values, Span<byte> block, int first)
    {
        for (int at = 0, v = first; at < block.Length; at += VertexBytes, v++)
        {
            var p = mesh.Vertex(v);
            BinaryPrimitives.WriteSingleLittleEndian(block[at..], (float)p.X);
            BinaryPrimitives.WriteSingleLittleEndian(block[(at + 4)..], (float)p.Y);
            BinaryPrimitives.WriteSingleLittleEndian(block[(at + 8)..], (float)p.Z);
            BinaryPrimitives.WriteSingleLittleEndian(block[(at + 12)..], values[v]);
        }
    }

    private static void FillFaces(Mesh mesh, Span<byte> block, int first)
    {
        for (int at = 0, t = first; at < block.Length; at += FaceBytes, t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            block[at] = 3;
            BinaryPrimitives.WriteInt32LittleEndian(block[(at + 1)..], a);
            BinaryPrimitives.WriteInt32LittleEndian(block[(at + 5)..], b);
            BinaryPrimitives.WriteInt32LittleEndian(block[(at + 9)..], c);
        }
    }
}
