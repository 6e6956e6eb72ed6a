using System.IO.Compression;
using System.Xml;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>The parts of a 3MF package, each read as XML within one common allowance; nothing outside it is ever opened.</summary>
internal sealed class ThreeMfPackage : IDisposable
{
    private const int LongestName = 1024;

    private readonly ByteSource _source;
    private readonly ZipArchive _zip;

    // By the one form of each name; null for a part that is there twice.
    private readonly Dictionary<string, ZipArchiveEntry?> _entries = [];
    private readonly UnpackAllowance _allowance;

    /// <exception cref="BadInputException">The bytes are no ZIP archive.</exception>
    internal ThreeMfPackage(ByteSource source)
    {
        _source = source;
        _allowance = new(source.Length);
        var stream = source.AsStream();
        try
        {
            _zip = new(stream, ZipArchiveMode.Read);
            foreach (var entry in _zip.Entries)
                if (!_entries.TryAdd(OneForm(entry.FullName), entry))
                    _entries[OneForm(entry.FullName)] = null;
        }
        catch (Exception e) when (IsDamage(e))
        {
            stream.Dispose();
            throw Damaged("directory of the package");
        }
    }

    /// <summary>The same for all ways to write the name of a part: with or without '/', in any case, with escapes or not.</summary>
    internal static string OneForm(string name) =>
        name.Length > LongestName ? name : Uri.UnescapeDataString(name).TrimStart('/').ToUpperInvariant();

    /// <summary>Part name of the model, from the relationship that every package starts with.</summary>
    internal string ModelPart()
    {
        string? target = null;
        ReadPart("_rels/.rels", "relationships", xml =>
        {
            while (xml.Read())
            {
                if (xml.NodeType != XmlNodeType.Element || xml.LocalName != "Relationship" || xml.NamespaceURI != ThreeMfFormat.RelationshipsNamespace
                    || xml.GetAttribute("Type") != ThreeMfFormat.StartPartType || xml.GetAttribute("TargetMode") == "External")
                    continue;
                if (target is not null)
                    throw _source.Bad("package", "two models to start with", "Write the file again with one model part.");
                target = xml.GetAttribute("Target");
            }
        });
        return target ?? throw _source.Bad("package", "no 3D model in it", "The archive is not 3MF: give the file that holds the model.");
    }

    /// <summary>Unpacks a part while <paramref name="read"/> goes through it, then checks its length and checksum.</summary>
    /// <exception cref="BadInputException">No such part, damaged, not well-formed, with a DTD, or unpacking to too much.</exception>
    internal void ReadPart(string name, string what, Action<XmlReader> read)
    {
        var entry = Find(name, what);
        try
        {
            using var part = new BoundedPart(_source, entry.Open(), _allowance);
            using (var xml = XmlReader.Create(part, Settings()))
                read(xml);
            part.Drain();
            if (part.Crc != entry.Crc32 || part.Count != entry.Length)
                throw Damaged(what);
        }
        catch (XmlException e)
        {
            throw _source.Bad(
                what,
                FormattableString.Invariant($"not well-formed XML without DTD at line {e.LineNumber}, position {e.LinePosition}"),
                "The file is damaged or was not written as 3MF: get it again from where it came.");
        }
        catch (Exception e) when (IsDamage(e))
        {
            throw Damaged(what);
        }
    }

    public void Dispose() => _zip.Dispose();

    private static XmlReaderSettings Settings() => new()
    {
        DtdProcessing = DtdProcessing.Prohibit,
        XmlResolver = null,
        IgnoreComments = true,
        IgnoreProcessingInstructions = true,
        IgnoreWhitespace = true,
        CloseInput = false,
    };

    // What the library throws on archives that are damaged, encrypted, or packed in another way.
    private static bool IsDamage(Exception e) => e is InvalidDataException or IOException or NotSupportedException;

    private BadInputException Damaged(string what) =>
        _source.Bad(what, "damaged, encrypted, or packed in a way 3MF does not allow", "Get the file again from where it came.");

    private ZipArchiveEntry Find(string name, string what)
    {
        if (!_entries.TryGetValue(OneForm(name), out var found))
            throw _source.Bad(what, "missing in the package", "The archive is not 3MF, or is damaged.");
        return found ?? throw _source.Bad(what, "there twice in the package", "Which one is meant cannot be told: write the file again.");
    }

}
