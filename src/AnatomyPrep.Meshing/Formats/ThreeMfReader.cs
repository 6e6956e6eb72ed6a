using System.Globalization;
using System.Xml;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>Reads 3MF: every item of the build, in its place, as one mesh.</summary>
/// <remarks>
/// Format: 3MF Core Specification 1.4, and the model parts of the Production Extension. Transforms of items and components
///   are applied in double, then the unit, to positions and moves alike; a transform that mirrors turns its triangles, as
///   the specification demands, and is told. Supports are left out, and told. A file that requires an extension which may
///   change the shape is refused.
/// Bounds: unpacking, see <see cref="UnpackAllowance"/>; no DTD, nothing from outside the package; objects only refer to
///   objects before them, at most <see cref="DeepestNesting"/> deep; copies of objects make at most
///   <see cref="CopyFactor"/> times the file's own triangles and vertices, and <see cref="FreeCopies"/> more.
/// Memory: 24 bytes a vertex and 12 a triangle, stored once a object and once a copy.
/// </remarks>
internal sealed class ThreeMfReader
{
    internal const int DeepestNesting = 32;
    internal const int CopyFactor = 64;
    internal const int FreeCopies = 2_000_000;

    private const string MaterialsNamespace = "http://schemas.microsoft.com/3dmanufacturing/material/2015/02";
    private const string ProductionNamespace = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06";

    private readonly ByteSource _source;
    private readonly RunContext _run;
    private readonly ThreeMfPackage _package;
    private readonly Dictionary<(string Part, int Id), ThreeMfObject> _objects = [];
    private readonly Dictionary<string, string> _metadata = [];
    private readonly List<(ThreeMfReference Reference, Affine3 Map)> _items = [];
    private readonly List<Finding> _findings = [];
    private LengthUnit? _unit;
    private long _storedTriangles;
    private long _storedVertices;

    private ThreeMfReader(ByteSource source, ThreeMfPackage package, RunContext run)
    {
        _source = source;
        _package = package;
        _run = run;
    }

    internal static RawMesh Read(ByteSource source, RunContext run)
    {
        // Text packs about six to one, and takes about as much memory again.
        source.RequireMemory(run, 6 * source.Length);
        using var package = new ThreeMfPackage(source);
        return new ThreeMfReader(source, package, run).Read();
    }

    private RawMesh Read()
    {
        var root = ThreeMfPackage.OneForm(_package.ModelPart());
        ReadModel(root, isRoot: true);
        foreach (var part in OtherParts(root))
            ReadModel(part, isRoot: false);
        var copies = PlaceItems();
        var (positions, triangles, origins) = Assemble(copies);
        return new("3mf", positions, triangles, _findings) { Origins = origins, DeclaredUnit = _unit, Metadata = _metadata };
    }

    // Model parts that the root names, each once, in the order in which they are first named.
    private List<string> OtherParts(string root)
    {
        var parts = new List<string>();
        var seen = new HashSet<string> { root };
        var references = _objects.Values.SelectMany(o => o.Components).Concat(_items).Select(c => c.Reference.Part);
        foreach (var part in references)
            if (seen.Add(part))
                parts.Add(part);
        return parts;
    }

    private void ReadModel(string part, bool isRoot) => _package.ReadPart(part, "model", xml =>
    {
        if (xml.MoveToContent() != XmlNodeType.Element || xml.LocalName != "model" || xml.NamespaceURI != ThreeMfFormat.CoreNamespace)
            throw Bad(xml, "model", "not a 3MF model", "Give a file in the 3MF format.");
        RefuseUnknownExtensions(xml);
        var unit = UnitOf(xml);
        if (_unit is { } known && known != unit)
            throw Bad(xml, "unit", "not the same in all model parts", "Write the file again with one unit.");
        _unit = unit;
        var materials = new HashSet<int>();
        ThreeMfXml.Children(xml, name =>
        {
            if (name == "metadata" && isRoot)
                ReadMetadata(xml);
            else if (name == "resources")
                ReadResources(xml, part, isRoot, materials);
            else if (name == "build" && isRoot)
                ReadBuild(xml, part);
        });
    });

    // Materials colour the surface and nothing else; the production extension only spreads objects over several parts.
    private void RefuseUnknownExtensions(XmlReader xml)
    {
        var required = xml.GetAttribute("requiredextensions") ?? "";
        foreach (var prefix in required.Split((char[]?)null, StringSplitOptions.RemoveEmptyEntries))
            if (xml.LookupNamespace(prefix) is not (MaterialsNamespace or ProductionNamespace))
                throw Bad(xml, "requiredextensions", "an extension that is not known and may change the shape", "Export the model again as a plain mesh.");
    }

    private LengthUnit UnitOf(XmlReader xml) => xml.GetAttribute("unit") switch
    {
        "micron" => LengthUnit.Micrometre,
        "millimeter" or null => LengthUnit.Millimetre,
        "centimeter" => LengthUnit.Centimetre,
        "inch" => LengthUnit.Inch,
        "foot" => LengthUnit.Foot,
        "meter" => LengthUnit.Metre,
        _ => throw Bad(xml, "unit", "not one of micron, millimeter, centimeter, inch, foot, meter", "Correct the unit in the file."),
    };

    private void ReadMetadata(XmlReader xml)
    {
        var name = xml.GetAttribute("name") ?? "";
        var colon = name.IndexOf(':', StringComparison.Ordinal);
        if (colon > 0 && xml.LookupNamespace(name[..colon]) == ThreeMfFormat.OwnNamespace)
            name = "ap" + name[colon..];
        if (!_metadata.TryAdd(name, ThreeMfXml.Text(xml)))
            throw Bad(xml, "metadata", "the same name twice", "Write the file again.");
    }

    private void ReadResources(XmlReader xml, string part, bool isRoot, HashSet<int> materials) => ThreeMfXml.Children(xml, name =>
    {
        if (name == "basematerials")
            ReadMaterials(xml, materials);
        else if (name == "object")
            ReadObject(xml, part, isRoot, materials);
    });

    // A group with our own names, in our order, says where each triangle came from.
    private void ReadMaterials(XmlReader xml, HashSet<int> materials)
    {
        var id = Id(xml, "id");
        var names = new List<string>();
        ThreeMfXml.Children(xml, name =>
        {
            if (name == "base")
                names.Add(xml.GetAttribute("name") ?? "");
        });
        if (names.SequenceEqual(Enum.GetValues<Origin>().Select(OriginPalette.Name)))
            materials.Add(id);
    }

    private void ReadObject(XmlReader xml, string part, bool isRoot, HashSet<int> materials)
    {
        var id = Id(xml, "id");
        var type = xml.GetAttribute("type") ?? "model";
        if (type is not ("model" or "surface" or "support" or "solidsupport" or "other"))
            throw Bad(xml, "object type", "not one 3MF knows", "Write the file again.");
        var origins = new ThreeMfOrigins(materials, OptionalId(xml, "pid") ?? 0, OptionalId(xml, "pindex") ?? 0);
        var found = new ThreeMfObject(type is "model" or "surface");
        ThreeMfXml.Children(xml, name =>
        {
            if (name == "mesh")
                new ThreeMfMeshReader(_source, _run, xml, origins).Read(found);
            else if (name == "components")
                ReadComponents(xml, part, isRoot, found);
        });
        _storedTriangles += found.TriangleCount;
        _storedVertices += found.VertexCount;
        if (!_objects.TryAdd((part, id), found))
            throw Bad(xml, "object", FormattableString.Invariant($"id {id} twice"), "Write the file again.");
    }

    private void ReadComponents(XmlReader xml, string part, bool isRoot, ThreeMfObject into) => ThreeMfXml.Children(xml, name =>
    {
        if (name != "component")
            return;
        var (reference, map) = ReadReference(xml, part, isRoot);
        // Only what has been read can be referred to, so no object can contain itself.
        if (reference.Part == part && !_objects.ContainsKey((part, reference.Id)))
            throw Bad(xml, "component", FormattableString.Invariant($"object {reference.Id}, which does not come before it"), "Write the file again.");
        into.Components.Add((reference, map));
    });

    private void ReadBuild(XmlReader xml, string part) => ThreeMfXml.Children(xml, name =>
    {
        if (name == "item")
            _items.Add(ReadReference(xml, part, isRoot: true));
    });

    private (ThreeMfReference Reference, Affine3 Map) ReadReference(XmlReader xml, string part, bool isRoot)
    {
        var path = xml.GetAttribute("path", ProductionNamespace);
        if (path is not null && !isRoot)
            throw Bad(xml, "path", "a model part that refers to a further one", "Write the file again.");
        var map = xml.GetAttribute("transform") is { } text ? ParseMap(xml, text) : Affine3.Identity;
        return (new(path is null ? part : ThreeMfPackage.OneForm(path), Id(xml, "objectid")), map);
    }

    private Affine3 ParseMap(XmlReader xml, string text)
    {
        var words = text.Split((char[]?)null, StringSplitOptions.RemoveEmptyEntries);
        var n = new double[12];
        var valid = words.Length == 12;
        for (var i = 0; valid && i < 12; i++)
            valid = double.TryParse(words[i], NumberStyles.Float, CultureInfo.InvariantCulture, out n[i]) && double.IsFinite(n[i]);
        // Row-major with the position as a row: the rows are the images of the unit vectors, and the last one the move.
        var map = new Affine3(new(n[0], n[1], n[2]), new(n[3], n[4], n[5]), new(n[6], n[7], n[8]), new(n[9], n[10], n[11]));
        if (!valid || map.Determinant == 0 || !double.IsFinite(map.Determinant))
            throw Bad(xml, "transform", "not twelve numbers that make a map with an inverse", "Write the file again.");
        return map;
    }

    // Every object with triangles that the items come to, with its map.
    private List<(ThreeMfObject Object, Affine3 Map)> PlaceItems()
    {
        var copies = new List<(ThreeMfObject Object, Affine3 Map)>();
        foreach (var (reference, _) in _items)
            CountCopies(Find(reference), 0);
        var triangles = _items.Sum(i => Find(i.Reference).TrianglesWithin);
        var vertices = _items.Sum(i => Find(i.Reference).VerticesWithin);
        if (triangles > (CopyFactor * _storedTriangles) + FreeCopies || vertices > (CopyFactor * _storedVertices) + FreeCopies
            || Math.Max(triangles, vertices) > Array.MaxLength / 3)
            throw _source.Bad(
                "build",
                FormattableString.Invariant($"{triangles:F0} triangles out of {_storedTriangles} by copying"),
                "Write a file with fewer copies.");
        _source.RequireMemory(_run, (long)((36 * vertices) + (24 * triangles)));
        var back = HasOurShift();
        foreach (var (reference, map) in _items)
            Place(Find(reference), back ? Affine3.Identity : map, copies);
        AddFindings(copies);
        return copies;
    }

    private ThreeMfObject Find(ThreeMfReference reference) => _objects.TryGetValue((reference.Part, reference.Id), out var found)
        ? found
        : throw _source.Bad("build", FormattableString.Invariant($"object {reference.Id}, which is not there"), "Write the file again.");

    // Once an object, so that copies of copies cannot run long.
    private void CountCopies(ThreeMfObject at, int level)
    {
        if (at.Depth is not null)
            return;
        var depth = 0;
        (at.TrianglesWithin, at.VerticesWithin) = (at.TriangleCount, at.VertexCount);
        foreach (var (reference, map) in at.Components)
        {
            var child = Find(reference);
            if (level < DeepestNesting)
                CountCopies(child, level + 1);
            depth = Math.Max(depth, 1 + (child.Depth ?? DeepestNesting));
            at.TrianglesWithin += child.TrianglesWithin;
            at.VerticesWithin += child.VerticesWithin;
            at.Children.Add((child, map));
        }

        if (depth > DeepestNesting)
            throw _source.Bad("components", FormattableString.Invariant($"nested more than {DeepestNesting} deep"), "Write the file again.");
        at.Depth = depth;
    }

    private static void Place(ThreeMfObject at, Affine3 map, List<(ThreeMfObject Object, Affine3 Map)> copies)
    {
        if (at.TrianglesWithin == 0)
            return;
        if (at.TriangleCount > 0)
            copies.Add((at, map));
        foreach (var (child, childMap) in at.Children)
            Place(child, map.After(childMap), copies);
    }

    // A move that our own writer noted, and that all items still have, is taken back, so that the model lies where it lay in the patient.
    private bool HasOurShift()
    {
        if (_items.Count == 0 || _unit != LengthUnit.Millimetre || !_metadata.TryGetValue("ap:" + ThreeMfFormat.ShiftName, out var noted))
            return false;
        var move = _items[0].Map.Translation;
        if (_items.Any(i => i.Map != Affine3.Translate(move)) || noted != string.Create(CultureInfo.InvariantCulture, $"{move.X} {move.Y} {move.Z}"))
            return false;
        _findings.Add(new(
            FindingCodes.PatientPositionKept, Severity.Note,
            "The file notes how far its model was moved for printing; the model was put back to its place in the patient.",
            "None needed."));
        return true;
    }

    private void AddFindings(List<(ThreeMfObject Object, Affine3 Map)> copies)
    {
        var skipped = copies.RemoveAll(c => !c.Object.IsSurface);
        if (skipped > 0)
            _findings.Add(new(
                FindingCodes.ObjectsSkipped, Severity.Caution,
                FormattableString.Invariant($"{skipped} objects that are supports or not for printing were left out."),
                "Look whether something that belongs to the model is missing."));
        if (copies.Count > 1)
            _findings.Add(new(
                FindingCodes.ObjectsJoined, Severity.Note,
                FormattableString.Invariant($"{copies.Count} objects were put into one mesh, each with its own vertices."),
                "None needed; unite them where they overlap."));
        var mirrored = copies.Count(c => c.Map.Determinant < 0);
        if (mirrored > 0)
            _findings.Add(new(
                FindingCodes.MirroredByFile, Severity.Caution,
                FormattableString.Invariant($"The file mirrors {mirrored} objects: left and right change places in them."),
                "Make sure that the model shows the right side."));
    }

    private (double[] Positions, int[] Triangles, Origin[]? Origins) Assemble(List<(ThreeMfObject Object, Affine3 Map)> copies)
    {
        var triangleCount = copies.Sum(c => c.Object.TriangleCount);
        if (triangleCount == 0)
            throw RawMesh.NoTriangles(_source);
        var positions = new double[3 * copies.Sum(c => c.Object.VertexCount)];
        var triangles = new int[3 * triangleCount];
        var origins = copies.Any(c => c.Object.Origins.Count > 0) ? new Origin[triangleCount] : null;
        int vertex = 0, triangle = 0;
        foreach (var (from, map) in copies)
        {
            _run.ThrowIfCancelled();
            var isMirrored = map.Determinant < 0;
            for (var i = 0; i < from.Positions.Count; i += 3)
            {
                var p = map.Map(new(from.Positions[i], from.Positions[i + 1], from.Positions[i + 2]));
                (positions[vertex + i], positions[vertex + i + 1], positions[vertex + i + 2]) = (p.X, p.Y, p.Z);
            }

            for (var h = 0; h < from.Triangles.Count; h += 3)
            {
                var (b, c) = isMirrored ? (2, 1) : (1, 2);
                triangles[triangle + h] = (vertex / 3) + from.Triangles[h];
                triangles[triangle + h + 1] = (vertex / 3) + from.Triangles[h + b];
                triangles[triangle + h + 2] = (vertex / 3) + from.Triangles[h + c];
            }

            if (origins is not null)
                from.Origins.CopyTo(origins, triangle / 3);
            vertex += from.Positions.Count;
            triangle += from.Triangles.Count;
        }

        return (positions, triangles, origins);
    }

    private int Id(XmlReader xml, string name) =>
        OptionalId(xml, name) ?? throw Bad(xml, name, "missing or not a number above 0", "Write the file again.");

    private static int? OptionalId(XmlReader xml, string name)
    {
        const NumberStyles style = NumberStyles.AllowLeadingWhite | NumberStyles.AllowTrailingWhite;
        return int.TryParse(xml.GetAttribute(name), style, CultureInfo.InvariantCulture, out var id) ? id : null;
    }

    private BadInputException Bad(XmlReader xml, string field, string value, string remedy) =>
        _source.Bad(FormattableString.Invariant($"model, line {(xml as IXmlLineInfo)?.LineNumber ?? 0}, {field}"), value, remedy);
}
