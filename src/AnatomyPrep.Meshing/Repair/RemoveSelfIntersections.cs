using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Repair;

/// <param name="MaximumRounds">Passes over all places; each one but the last removes at least one pair.</param>
public sealed record RemoveSelfIntersectionsParameters(int MaximumRounds = 20);

/// <summary>Removes crossing, overlapping and touching triangles, each place by itself and with as little change as does it.</summary>
/// <remarks>
/// Faulty triangles that hang together or meet form a place. For each place the region around it grows ring by ring, and at
/// every size three repairs are tried: the vertices inside are shaped anew with the triangles as they are (thin plate, then
/// membrane; <see cref="PatchFairing"/>), which unfolds a fold and keeps the topology whatever it is; or the region, when it is a
/// disc, is taken out and filled (<see cref="FillHoles"/>). The first repair after which its triangles meet nothing is
/// taken; if none does, the one that leaves fewest meetings, if fewer than before; at an open border, last of all, the faulty
/// triangles go. So the number of meeting pairs falls with every change, which is why it ends.
/// A triangle changes only when one of its vertices lies within three edge lengths of a fault, along edges (an edge length being
/// the larger of the mesh's mean and the fault's own mean); all others keep the bytes of their vertices. Changed triangles
/// have origin filled.
/// Pieces that cross each other are not repaired here: uniting them is a Boolean's work, and a finding says so. Places that stay are named.
/// When not fewer pairs meet at the end than at the beginning, the input comes back.
/// Finding the pairs: O(n log n); a place of k triangles: about k^1.5. Peak: tree and editable mesh, 110 bytes a triangle.
/// </remarks>
public static class RemoveSelfIntersections
{
    private const string Step = "remove self-intersections";
    private const int MostPlacesNamed = 20;

    public static RepairResult Apply(Mesh mesh, RemoveSelfIntersectionsParameters parameters, RunContext run)
    {
        ArgumentOutOfRangeException.ThrowIfNegative(parameters.MaximumRounds);
        run.Report(Step, "find", 0);
        var tree = TriangleTree.Build(mesh, run);
        var found = SelfIntersections.Find(tree, EdgeTable.Build(mesh), run);
        if (found.Pairs.Count == 0)
            return RepairResult.Unchanged(mesh, run, measures: Measures(found, found, null, 0));
        if (!found.Complete)
            return RepairResult.Unchanged(mesh, run, [TooMany(found)], Measures(found, found, null, 0));

        var editor = new CrossingEditor(mesh, tree, found.Pairs);
        editor.Run(parameters.MaximumRounds, Step, run);
        var after = editor.Mesh.Build(out var changedMm2);
        var left = ReferenceEquals(after, mesh) ? found : SelfIntersections.Find(after, run);
        var pieces = Pieces.Label(after.Triangles, after.VertexCount, out _);
        var measures = Measures(found, left, editor, left.Pairs.Count(p => pieces[p.First] != pieces[p.Second]));
        if (left.Pairs.Count >= found.Pairs.Count)
            return RepairResult.Unchanged(mesh, run, [.. LeftFindings(mesh, found)], Measures(found, found, null, 0));
        List<Finding> findings = [Removed(found, left, editor), .. LeftFindings(after, left)];
        return RepairResult.Changed(mesh, after, changedMm2, editor.Displacement, run, measures, findings);
    }

    private static Dictionary<string, double> Measures(IntersectingPairs before, IntersectingPairs after, CrossingEditor? editor, int betweenPieces) => new()
    {
        ["meetingPairsBefore"] = before.Pairs.Count,
        ["meetingPairsAfter"] = after.Pairs.Count,
        ["meetingPairsBetweenPieces"] = betweenPieces,
        ["placesReshaped"] = editor?.Reshaped ?? 0,
        ["placesRefilled"] = editor?.Refilled ?? 0,
        ["placesTrimmed"] = editor?.Trimmed ?? 0,
    };

    private static Finding Removed(IntersectingPairs before, IntersectingPairs after, CrossingEditor editor) => new(
        FindingCodes.SelfIntersectionsRemoved,
        Severity.Note,
        string.Create(CultureInfo.InvariantCulture, $"{before.Pairs.Count - after.Pairs.Count} of {before.Pairs.Count} pairs of triangles that met each other were removed at {editor.Reshaped + editor.Refilled + editor.Trimmed} places; the surface moved by at most {editor.Displacement.MaxMm:G3} mm."),
        "Changed triangles have origin filled.");

    private static IEnumerable<Finding> LeftFindings(Mesh mesh, IntersectingPairs left)
    {
        if (left.Pairs.Count == 0)
            yield break;
        var pieces = Pieces.Label(mesh.Triangles, mesh.VertexCount, out _);
        var between = left.Pairs.Where(p => pieces[p.First] != pieces[p.Second]).ToList();
        if (between.Count > 0)
        {
            yield return new(
                FindingCodes.PiecesCross,
                Severity.Caution,
                string.Create(CultureInfo.InvariantCulture, $"Separate pieces cross or touch each other in {between.Count} pairs of triangles."),
                "Unite the pieces, move them apart, or drop the smaller.",
                At(mesh, between[0]));
        }

        var named = 0;
        foreach (var place in Places(left.Pairs.Where(p => pieces[p.First] == pieces[p.Second]).ToList(), mesh))
        {
            if (named++ == MostPlacesNamed)
                yield break;
            yield return new(
                FindingCodes.SelfIntersectionKept,
                Severity.Caution,
                string.Create(CultureInfo.InvariantCulture, $"The surface crosses or touches itself here in {place.Count} pairs of triangles and no local repair could remove that."),
                "Remove the place by hand and fill it; parts that pass through each other can be united.",
                At(mesh, place[0]));
        }
    }

    // Pairs whose triangles share vertices, directly or through other pairs.
    private static List<TrianglePair>[] Places(List<TrianglePair> pairs, Mesh mesh)
    {
        var number = new Dictionary<int, int>();
        var chained = new List<int>();
        foreach (var pair in pairs)
        {
            int[] first = [.. Corners(pair.First)], second = [.. Corners(pair.Second)];
            chained.AddRange([.. first, .. second, first[0], second[0], first[0]]);
        }

        var label = Pieces.Label(chained.ToArray(), number.Count, out var count);
        var places = new List<TrianglePair>[count];
        for (var i = 0; i < pairs.Count; i++)
            (places[label[3 * i]] ??= []).Add(pairs[i]);
        return places;

        IEnumerable<int> Corners(int t)
        {
            var (a, b, c) = mesh.Triangle(t);
            foreach (var v in (int[])[a, b, c])
            {
                if (!number.TryGetValue(v, out var n))
                    number[v] = n = number.Count;
                yield return n;
            }
        }
    }

    private static Place At(Mesh mesh, TrianglePair pair) => new(PositionMm: mesh.Vertex(mesh.Triangle(pair.First).A), FirstTriangle: pair.First);

    private static Finding TooMany(IntersectingPairs found) => new(
        FindingCodes.SelfIntersectionKept,
        Severity.Caution,
        string.Create(CultureInfo.InvariantCulture, $"More than {found.Pairs.Count} pairs of triangles meet each other; so many are not repaired one by one."),
        "Check whether the mesh holds the same surface twice; drop doubled pieces first.");
}
