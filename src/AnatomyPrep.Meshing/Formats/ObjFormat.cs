using System.Runtime.InteropServices;
using System.Text;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>Wavefront OBJ: vertices and faces are read and written; textures, normals, groups, materials and curves are passed over.</summary>
/// <remarks>
/// Reading: "v x y z", more numbers (weight, colour) ignored; "f" with i, i/t, i//n or i/t/n, 1-based or negative from
///   the vertices read so far; faces may come before their vertices; '#' comments; '\' joins lines. Memory: 36 bytes a vertex
///   and 4 a corner, doubled while a list grows; a vertex takes 8 bytes of text or more, so ten times the file at most.
/// Writing: shortest decimal text that gives the same float32, one "v" a vertex and one "f" a triangle.
/// </remarks>
public static class ObjFormat
{
    private const string Step = "write OBJ";
    private const int Batch = 1 << 13;

    private static readonly string[] s_keywords =
    [
        "v", "vt", "vn", "vp", "f", "l", "p", "o", "g", "s", "mtllib", "usemtl", "mg", "cstype", "deg",
    ];

    /// <summary>Writes patient millimetres; the stream is left open.</summary>
    /// <param name="comment">Free text, without personal data; one comment line for each of its lines.</param>
    public static void Write(Mesh mesh, Stream stream, string comment, RunContext run)
    {
        foreach (var line in comment.ReplaceLineEndings("\n").Split('\n', StringSplitOptions.RemoveEmptyEntries))
            stream.Write(Encoding.UTF8.GetBytes($"# {line}\n"));
        var buffer = new byte[Batch * 64];
        for (var v = 0; v < mesh.VertexCount; v += Batch)
        {
            run.ThrowIfCancelled();
            run.Report(Step, "vertices", (double)v / mesh.VertexCount);
            stream.Write(buffer, 0, FormatVertices(mesh, v, Math.Min(mesh.VertexCount, v + Batch), buffer));
        }

        for (var t = 0; t < mesh.TriangleCount; t += Batch)
        {
            run.ThrowIfCancelled();
            run.Report(Step, "triangles", (double)t / mesh.TriangleCount);
            stream.Write(buffer, 0, FormatTriangles(mesh, t, Math.Min(mesh.TriangleCount, t + Batch), buffer));
        }

        run.Report(Step, "triangles", 1);
    }

    internal static bool IsKeyword(ReadOnlySpan<byte> word)
    {
        foreach (var keyword in s_keywords)
            if (Ascii.Equals(word, keyword))
                return true;
        return false;
    }

    internal static RawMesh Read(ByteSource source, RunContext run)
    {
        source.RequireMemory(run, 3 * source.Length);
        var positions = new List<double>();
        var faces = new FaceList(source);
        Parse(source, run, positions, faces, long.MaxValue);
        // A face may come before its vertices, so a wrong number shows only now; the second pass finds its line.
        if (faces.FirstOutside(positions.Count / 3) is not null)
            Parse(source, run, [], new FaceList(source), positions.Count / 3);
        var findings = new List<Finding>();
        var (triangles, _) = faces.Triangulate(
            positions.Count / 3, v => new Vec3(positions[3 * v], positions[(3 * v) + 1], positions[(3 * v) + 2]), findings, run);
        return new("obj", [.. positions], triangles, findings);
    }

    private static void Parse(ByteSource source, RunContext run, List<double> positions, FaceList faces, long vertices)
    {
        var text = new TextScanner(source, run) { Comment = (byte)'#', Continuation = true };
        var corners = new List<int>();
        do
        {
            var word = text.WordOnLine();
            if (word.SequenceEqual("v"u8))
                ReadVertex(text, positions);
            else if (word.SequenceEqual("f"u8))
                ReadFace(text, positions.Count / 3, corners, faces, vertices);
            else if (word.SequenceEqual("l"u8) || word.SequenceEqual("p"u8) || word.SequenceEqual("curv"u8) || word.SequenceEqual("surf"u8))
                faces.Skip();
        }
        while (text.NextLine());
    }

    private static void ReadVertex(TextScanner text, List<double> positions)
    {
        if (positions.Count > Array.MaxLength - 3)
            throw text.Bad("v", "too many vertices", "Split the model.");
        for (var axis = 0; axis < 3; axis++)
            positions.Add(text.Number("v", onLine: true));
    }

    private static void ReadFace(TextScanner text, int known, List<int> corners, FaceList faces, long vertices)
    {
        corners.Clear();
        while (true)
        {
            var word = text.WordOnLine();
            if (word.IsEmpty)
                break;
            var slash = word.IndexOf((byte)'/');
            if (!DecimalText.TryParse(slash < 0 ? word : word[..slash], out long index))
                throw text.NotA("vertex number", "f", word);
            var vertex = index < 0 ? known + index : index - 1;
            if (vertex < 0 || vertex > int.MaxValue || vertex >= vertices)
                throw text.Bad(
                    "f",
                    FormattableString.Invariant($"vertex {index}, of {(vertices == long.MaxValue ? known : vertices)}"),
                    "Repair the line or export the file again.");
            corners.Add((int)vertex);
        }

        faces.Add(CollectionsMarshal.AsSpan(corners));
    }

    private static int FormatVertices(Mesh mesh, int from, int to, Span<byte> buffer)
    {
        var at = 0;
        for (var v = from; v < to; v++)
        {
            var p = mesh.Vertex(v);
            buffer[at++] = (byte)'v';
            for (var axis = 0; axis < 3; axis++)
            {
                buffer[at++] = (byte)' ';
                at += FloatText.Format((float)p[axis], buffer[at..]);
            }

            buffer[at++] = (byte)'\n';
        }

        return at;
    }

    private static int FormatTriangles(Mesh mesh, int from, int to, Span<byte> buffer)
    {
        var at = 0;
        for (var h = 3 * from; h < 3 * to; h++)
        {
            if (h % 3 == 0)
                buffer[at++] = (byte)'f';
            buffer[at++] = (byte)' ';
            at += FloatText.Format(mesh.Triangles[h] + 1, buffer[at..]);
            if (h % 3 == 2)
                buffer[at++] = (byte)'\n';
        }

        return at;
    }
}
