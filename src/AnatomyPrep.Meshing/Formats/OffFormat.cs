using System.Buffers;
using System.Runtime.InteropServices;
using System.Text;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>OFF: read only. Normals, colours and texture coordinates (NOFF, COFF, STOFF and their unions) are passed over.</summary>
/// <remarks>
/// Format: the keyword; counts of vertices, faces and (ignored, may be missing) edges; a line a vertex that begins with
///   x y z; a line a face that begins with its number of corners and their 0-based numbers; '#' comments anywhere.
/// Memory: 24 bytes a vertex, which takes 6 bytes of text or more; a count the file has no room for is refused first.
/// </remarks>
internal static class OffFormat
{
    // "0 0 0" and "0", each with a line end.
    private const int LeastVertexBytes = 6;
    private const int LeastFaceBytes = 2;

    private static readonly SearchValues<byte> s_prefixes = SearchValues.Create("STCN4n"u8);

    /// <summary>True for every keyword of the family, the ones that cannot be read included.</summary>
    internal static bool IsKeyword(ReadOnlySpan<byte> word) => word.EndsWith("OFF"u8) && !word[..^3].ContainsAnyExcept(s_prefixes);

    internal static RawMesh Read(ByteSource source, RunContext run)
    {
        var text = new TextScanner(source, run) { Comment = (byte)'#' };
        var keyword = text.Word();
        if (keyword.ContainsAny((byte)'4', (byte)'n'))
            throw text.Bad("keyword", $"'{TextScanner.Shown(keyword)}'", "Give a file of three dimensions.");
        var first = text.Word();
        if (first.SequenceEqual("BINARY"u8))
            throw text.Bad("keyword", "binary OFF", "Export the file as text.");
        var vertices = Count(source, text, "vertex count", first, LeastVertexBytes);
        var faces = Count(source, text, "face count", text.Word(), LeastFaceBytes);
        text.NextLine();
        source.RequireMemory(run, (36L * vertices) + (24L * faces));
        var positions = ReadVertices(text, vertices);
        var list = ReadFaces(source, text, faces, vertices);
        var findings = new List<Finding>();
        var (triangles, _) = list.Triangulate(
            vertices, v => new Vec3(positions[3 * v], positions[(3 * v) + 1], positions[(3 * v) + 2]), findings, run);
        if (!text.Word().IsEmpty)
            findings.Add(new(
                FindingCodes.ExtraBytes, Severity.Caution, "More text follows the last face the file announces; it was not read.",
                "Look whether a part of the model is missing; if not, write the file again."));
        return new("off", positions, triangles, findings);
    }

    private static int Count(ByteSource source, TextScanner text, string field, ReadOnlySpan<byte> word, int leastBytes)
    {
        if (!DecimalText.TryParse(word, out long count) || count < 0)
            throw text.NotA("count", field, word);
        if (count > (source.Length + 1) / leastBytes || count > Array.MaxLength / 3)
            throw text.Bad(
                field,
                FormattableString.Invariant($"{count} in a file of {source.Length} bytes"),
                "The file is cut short or its counts are wrong: get it again from where it came.");
        return (int)count;
    }

    private static double[] ReadVertices(TextScanner text, int count)
    {
        var positions = new double[3 * count];
        for (var v = 0; v < count; v++)
        {
            for (var axis = 0; axis < 3; axis++)
                positions[(3 * v) + axis] = text.Number("vertex", onLine: axis > 0);
            text.NextLine();
        }

        return positions;
    }

    private static FaceList ReadFaces(ByteSource source, TextScanner text, int count, int vertices)
    {
        var faces = new FaceList(source);
        var corners = new List<int>();
        for (var f = 0; f < count; f++)
        {
            corners.Clear();
            for (var left = text.Integer("face"); left > 0; left--)
            {
                var index = text.Integer("face");
                if (index < 0 || index >= vertices)
                    throw text.Bad(
                        "face",
                        FormattableString.Invariant($"vertex {index} of {vertices}"),
                        "The file is damaged or cut short: get it again from where it came.");
                corners.Add((int)index);
            }

            faces.Add(CollectionsMarshal.AsSpan(corners));
            text.NextLine();
        }

        return faces;
    }
}
