using System.Text;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>Kinds of file that can be read.</summary>
public enum FileContent
{
    Stl,

    /// <summary>PLY with faces.</summary>
    Ply,

    /// <summary>PLY with vertices only.</summary>
    PlyPoints,
    Obj,
    Off,
    ThreeMf,

    /// <summary>Text, one point a line.</summary>
    Xyz,
}

/// <summary>Tells formats apart by content.</summary>
internal static class FileContents
{
    internal static FileContent? Identify(ByteSource source, RunContext run)
    {
        // First of all the one test no other format passes by chance: the size that the count at byte 80 asks for.
        if (StlFormat.IsBinaryBySize(source))
            return FileContent.Stl;
        Span<byte> head = stackalloc byte[8];
        head = head[..source.Read(0, head)];
        if (head.StartsWith("PK\x03\x04"u8))
            return FileContent.ThreeMf;
        if (PlyHeader.Begins(head))
            return PlyFormat.HasFaces(source) ? FileContent.Ply : FileContent.PlyPoints;
        if (StlFormat.LooksLikeText(source))
            return FileContent.Stl;
        return ByFirstWord(source, run) ?? (LooksBinary(source) ? FileContent.Stl : null);
    }

    private static FileContent? ByFirstWord(ByteSource source, RunContext run)
    {
        try
        {
            var word = new TextScanner(source, run) { Comment = (byte)'#' }.Word();
            if (OffFormat.IsKeyword(word))
                return FileContent.Off;
            if (ObjFormat.IsKeyword(word))
                return FileContent.Obj;
            return DecimalText.TryParse(word, out double _) ? FileContent.Xyz : null;
        }
        catch (BadInputException)
        {
            // A word without end: not text.
            return null;
        }
    }

    // Bytes no text has in its beginning, in a file long enough: a binary STL that is cut short, or has something after it.
    private static bool LooksBinary(ByteSource source)
    {
        Span<byte> preamble = stackalloc byte[84];
        return source.Read(0, preamble) == preamble.Length && preamble.ContainsAnyInRange((byte)0, (byte)8);
    }
}
