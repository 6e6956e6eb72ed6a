using System.Runtime.InteropServices;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>Faces of any number of corners, collected while reading and cut into triangles once all vertices are known.</summary>
/// <remarks>Memory: 4 bytes a corner, and 4 bytes a face once one of them is not a triangle.</remarks>
internal sealed class FaceList(ByteSource source)
{
    private readonly List<int> _corners = [];
    private readonly List<Origin> _origins = [];
    private List<int>? _ends;
    private int _skipped;

    /// <summary>Faces added so far, points and lines not counted.</summary>
    internal int Count => _ends?.Count ?? (_corners.Count / 3);

    /// <summary>Adds a face; one of fewer than three corners is counted as skipped instead.</summary>
    internal void Add(ReadOnlySpan<int> corners, Origin? origin = null)
    {
        if (corners.Length < 3)
        {
            _skipped++;
            return;
        }

        if (_corners.Count > Array.MaxLength - corners.Length)
            throw source.Bad("faces", "too many corners", "Split the model.");
        if (corners.Length > 3)
            _ends ??= EndsOfTriangles();
        _corners.AddRange(corners);
        _ends?.Add(_corners.Count);
        if (origin is { } given)
            _origins.Add(given);
    }

    internal void Skip() => _skipped++;

    /// <summary>First face with a corner outside 0 … vertices - 1, and that corner; null when there is none.</summary>
    internal (int Face, int Index)? FirstOutside(int vertices)
    {
        for (var c = 0; c < _corners.Count; c++)
            if ((uint)_corners[c] >= (uint)vertices)
                return (_ends is null ? c / 3 : _ends.FindIndex(end => end > c), _corners[c]);
        return null;
    }

    /// <summary>The triangles of all faces in order, with the origin of their face when origins were given.</summary>
    /// <param name="position">Of a vertex, in any unit.</param>
    /// <param name="findings">Told how many faces were cut, folded, or left out.</param>
    /// <exception cref="BadInputException">No face, an index out of range, or a face too large to cut.</exception>
    internal (int[] Triangles, Origin[]? Origins) Triangulate(
        int vertices, Func<int, Vec3> position, List<Finding> findings, RunContext run)
    {
        if (_skipped > 0)
            findings.Add(new(
                FindingCodes.FacesSkipped, Severity.Note,
                FormattableString.Invariant($"{_skipped} points, lines, curves or faces of fewer than three corners were left out."),
                "Look whether something that should be a surface is missing."));
        if (FirstOutside(vertices) is var (face, index))
            throw IndexOutside(source, face, index, vertices);
        if (_corners.Count == 0)
            throw RawMesh.NoTriangles(source);
        return _ends is null
            ? ([.. _corners], _origins.Count > 0 ? [.. _origins] : null)
            : CutAll(_ends, position, findings, run);
    }

    internal static BadInputException IndexOutside(ByteSource source, long face, long index, long vertices) => source.Bad(
        FormattableString.Invariant($"face {face}"),
        FormattableString.Invariant($"vertex {index} of {vertices}"),
        "The file is damaged or cut short: get it again from where it came.");

    private (int[] Triangles, Origin[]? Origins) CutAll(
        List<int> ends, Func<int, Vec3> position, List<Finding> findings, RunContext run)
    {
        var triangles = new List<int>(_corners.Count);
        var origins = _origins.Count > 0 ? new List<Origin>(ends.Count) : null;
        var cutter = new PolygonTriangulation(position);
        int start = 0, cut = 0, folded = 0;
        var corners = CollectionsMarshal.AsSpan(_corners);
        for (var f = 0; f < ends.Count; f++)
        {
            var polygon = corners[start..ends[f]];
            start = ends[f];
            if (f % 1024 == 0 || polygon.Length > 1024)
                run.ThrowIfCancelled();
            var before = triangles.Count;
            if (polygon.Length == 3)
                triangles.AddRange(polygon);
            else
            {
                cut++;
                folded += cutter.Cut(source, f, polygon, triangles) ? 0 : 1;
            }

            for (var t = before; t < triangles.Count; t += 3)
                origins?.Add(_origins[f]);
        }

        AddFindings(cut, folded, findings);
        return ([.. triangles], origins is null ? null : [.. origins]);
    }

    private static void AddFindings(int cut, int folded, List<Finding> findings)
    {
        findings.Add(new(
            FindingCodes.PolygonsCut, Severity.Note,
            FormattableString.Invariant($"{cut} faces of four or more corners were cut into triangles."),
            "None needed."));
        if (folded > 0)
            findings.Add(new(
                FindingCodes.PolygonsFolded, Severity.Caution,
                FormattableString.Invariant($"{folded} faces cross themselves or are not nearly flat; their triangles may overlap."),
                "Check the mesh for self-intersections, and repair it."));
    }

    private List<int> EndsOfTriangles()
    {
        var ends = new List<int>(_corners.Count / 3);
        for (var end = 3; end <= _corners.Count; end += 3)
            ends.Add(end);
        return ends;
    }
}
