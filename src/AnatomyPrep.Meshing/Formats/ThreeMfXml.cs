using System.Text;
using System.Xml;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>Going through the elements of a model part, forward only.</summary>
internal static class ThreeMfXml
{
    /// <summary>
    /// Calls <paramref name="child"/> with the name of each child element in the core namespace, the reader standing on it,
    /// and leaves the reader on the end of its element. What a call does not read, and children of other namespaces, are
    /// passed over.
    /// </summary>
    internal static void Children(XmlReader xml, Action<string> child)
    {
        if (xml.IsEmptyElement)
            return;
        var depth = xml.Depth;
        while (xml.Read() && xml.Depth > depth)
            if (xml.NodeType == XmlNodeType.Element && xml.Depth == depth + 1 && xml.NamespaceURI == ThreeMfFormat.CoreNamespace)
                child(xml.LocalName);
    }

    /// <summary>All text within the element.</summary>
    internal static string Text(XmlReader xml)
    {
        if (xml.IsEmptyElement)
            return "";
        var text = new StringBuilder();
        var depth = xml.Depth;
        while (xml.Read() && xml.Depth > depth)
            if (xml.NodeType is XmlNodeType.Text or XmlNodeType.CDATA or XmlNodeType.SignificantWhitespace)
                text.Append(xml.Value);
        return text.ToString();
    }
}
