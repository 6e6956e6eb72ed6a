using System.Xml;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>Which origin the materials of a triangle stand for.</summary>
/// <param name="OwnGroups">Material groups whose names are those of the origins, in order.</param>
/// <param name="ObjectGroup">pid of the object, 0 for none.</param>
/// <param name="ObjectIndex">pindex of the object.</param>
internal sealed record ThreeMfOrigins(IReadOnlySet<int> OwnGroups, int ObjectGroup, int ObjectIndex)
{
    /// <summary>3MF 4.1.4.1: without p1 the object's material counts; without pid, p1 is in the object's group.</summary>
    internal Origin Of(int? group, int? index)
    {
        var (of, at) = index is { } own ? (group ?? ObjectGroup, own) : (ObjectGroup, ObjectIndex);
        return OwnGroups.Contains(of) && at < OriginPalette.Count ? (Origin)at : Origin.Measured;
    }
}

/// <summary>Reads one mesh element; the numbers go from the reader's buffer to ours without a string between.</summary>
internal sealed class ThreeMfMeshReader(ByteSource source, RunContext run, XmlReader xml, ThreeMfOrigins origins)
{
    private const int LongestNumber = 256;

    private readonly char[] _chars = new char[LongestNumber];
    private readonly byte[] _text = new byte[LongestNumber];

    internal void Read(ThreeMfObject into)
    {
        ThreeMfXml.Children(xml, name =>
        {
            if (name == "vertices")
                ThreeMfXml.Children(xml, child => ReadVertex(child, into));
            else if (name == "triangles")
                ThreeMfXml.Children(xml, child => ReadTriangle(child, into));
        });
        for (var h = 0; h < into.Triangles.Count; h++)
            if (into.Triangles[h] >= into.VertexCount)
                throw FaceList.IndexOutside(source, h / 3, into.Triangles[h], into.VertexCount);
    }

    private void ReadVertex(string name, ThreeMfObject into)
    {
        if (name != "vertex")
            return;
        double? x = null, y = null, z = null;
        for (var more = xml.MoveToFirstAttribute(); more; more = xml.MoveToNextAttribute())
        {
            if (xml.Prefix.Length > 0)
                continue;
            switch (xml.LocalName)
            {
                case "x":
                    x = Coordinate();
                    break;
                case "y":
                    y = Coordinate();
                    break;
                case "z":
                    z = Coordinate();
                    break;
            }
        }

        xml.MoveToElement();
        if (x is not { } px || y is not { } py || z is not { } pz)
            throw Bad("vertex", "without x, y and z");
        if (into.Positions.Count > Array.MaxLength - 3)
            throw Bad("vertices", "too many");
        if (into.VertexCount % 8192 == 0)
            run.ThrowIfCancelled();
        into.Positions.Add(px);
        into.Positions.Add(py);
        into.Positions.Add(pz);
    }

    private void ReadTriangle(string name, ThreeMfObject into)
    {
        if (name != "triangle")
            return;
        int? a = null, b = null, c = null, group = null, index = null;
        for (var more = xml.MoveToFirstAttribute(); more; more = xml.MoveToNextAttribute())
        {
            if (xml.Prefix.Length > 0)
                continue;
            switch (xml.LocalName)
            {
                case "v1":
                    a = Index();
                    break;
                case "v2":
                    b = Index();
                    break;
                case "v3":
                    c = Index();
                    break;
                case "pid":
                    group = Index();
                    break;
                case "p1":
                    index = Index();
                    break;
            }
        }

        xml.MoveToElement();
        if (a is not { } v1 || b is not { } v2 || c is not { } v3)
            throw Bad("triangle", "without v1, v2 and v3");
        if (into.Triangles.Count > Array.MaxLength - 3)
            throw Bad("triangles", "too many");
        if (into.TriangleCount % 8192 == 0)
            run.ThrowIfCancelled();
        into.Triangles.Add(v1);
        into.Triangles.Add(v2);
        into.Triangles.Add(v3);
        if (origins.OwnGroups.Count > 0)
            into.Origins.Add(origins.Of(group, index));
    }

    private double Coordinate()
    {
        var text = Value();
        return DecimalText.TryParse(text, out double value) && double.IsFinite(value)
            ? value
            : throw Bad(xml.LocalName, $"'{TextScanner.Shown(text)}' where a finite number must be");
    }

    private int Index()
    {
        var text = Value();
        return DecimalText.TryParse(text, out long value) && value >= 0 && value <= int.MaxValue
            ? (int)value
            : throw Bad(xml.LocalName, $"'{TextScanner.Shown(text)}' where an index must be");
    }

    private ReadOnlySpan<byte> Value()
    {
        var count = xml.ReadValueChunk(_chars, 0, LongestNumber);
        if (count == LongestNumber)
            throw Bad(xml.LocalName, $"a number of {LongestNumber} characters or more");
        for (var i = 0; i < count; i++)
            _text[i] = _chars[i] < 0x80 ? (byte)_chars[i] : (byte)'?';
        return _text.AsSpan(0, count).Trim(" \t\r\n"u8);
    }

    private BadInputException Bad(string field, string value) => source.Bad(
        FormattableString.Invariant($"model, line {(xml as IXmlLineInfo)?.LineNumber ?? 0}, {field}"),
        value,
        "The file is damaged or was not written as 3MF: get it again from where it came.");
}
