using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Repair;

/// <param name="MaximumRounds">Passes over all places; each one but the last removes at least one pair.</param>
/// <param name="OpenWhatStays">Take away the triangles that no repair could part: a hole instead of a crossing.</param>
public sealed record RemoveSelfIntersectionsParameters(int MaximumRounds = 20, bool OpenWhatStays = false);

/// <summary>Removes crossing, overlapping and touching triangles, each place by itself and with as little change as does it.</summary>
/// <remarks>
/// Faulty triangles that hang together or meet form a place. For each place the region around it grows ring by ring, and at
/// every size two repairs are tried: the vertices inside are shaped anew with the triangles as they are (thin plate, then
/// membrane; <see cref="PatchFairing"/>), which unfolds a fold and keeps the topology whatever it is; or the region, when its
/// parts are discs, is taken out and filled (<see cref="FillHoles"/>).
/// Where no size helps, what passes through itself is joined along the line of crossing and what lies inside goes
/// (<see cref="CrossingFusion"/>). Where that cannot be, the region is taken out whatever its form and every rim is closed by
/// itself, smooth or flat: parts that pass through each other come apart (region growing and refilling after Attene, "A
/// lightweight approach to repairing digitized polygon meshes", 2010, from memory; there the rest of the mesh is not
/// protected). At an open border what the region takes away there stays away.
/// The first repair after which its triangles meet nothing of their own piece is taken; if none does, the one that leaves fewest
/// meetings, if fewer than before. None may add meetings with another piece. So the number of meeting pairs falls with every
/// change, which is why it ends. What has come loose by that and has less than a 200th of its piece's area is dropped.
/// A place whose triangles are more than a quarter of the piece's area is only joined, never filled: nothing around it says
/// what the surface should be.
/// A triangle changes only when one of its vertices lies within three edge lengths of a fault, along edges (an edge length being
/// the larger of the mesh's mean and the fault's own mean); all others keep the bytes of their vertices, unless they go as
/// hidden or with a crumb. Changed triangles have origin filled; parts of cut ones keep theirs.
/// Pieces (what hangs together by edges) that cross each other are not repaired here: uniting them is a Boolean's work, and a
/// finding says so. Places that stay are named, or opened when asked.
/// Where nothing could be done, the input comes back.
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
        return Apply(new SurfaceState(mesh, run), parameters, run);
    }

    internal static RepairResult Apply(SurfaceState surface, RemoveSelfIntersectionsParameters parameters, RunContext run)
    {
        var (mesh, found) = (surface.Mesh, surface.Pairs);
        if (found.Pairs.Count == 0)
            return RepairResult.Unchanged(mesh, run, measures: Measures(0, 0, null, 0));
        if (!found.Complete)
            return RepairResult.Unchanged(mesh, run, [TooMany(found)], Measures(found.Pairs.Count, found.Pairs.Count, null, 0));

        var pieces = PiecesOf(mesh, surface.Edges);
        var between = found.Pairs.Count(p => pieces[p.First] != pieces[p.Second]);
        var editor = new CrossingEditor(mesh, surface.Tree, found.Pairs, pieces);
        editor.Run(parameters.MaximumRounds, parameters.OpenWhatStays, Step, run);
        var after = editor.Mesh.Build(out var changedMm2);
        if (ReferenceEquals(after, mesh))
            return RepairResult.Unchanged(mesh, run, [.. LeftFindings(mesh, found.Pairs, pieces)], Measures(found.Pairs.Count, found.Pairs.Count, null, between));

        var left = editor.PairsLeft(out var pieceOf);
        between = left.Count(p => pieceOf[p.First] != pieceOf[p.Second]);
        List<Finding> findings = [Removed(found.Pairs.Count, left.Count, editor), .. LeftFindings(after, left, pieceOf)];
        return RepairResult.Changed(mesh, after, changedMm2, editor.Displacement, run, Measures(found.Pairs.Count, left.Count, editor, between), findings);
    }

    private static int[] PiecesOf(Mesh mesh, EdgeTable edges) => EdgeConnected.Label(TriangleNeighbours.Build(mesh.Triangles, edges), mesh.TriangleCount, out _);

    private static Dictionary<string, double> Measures(int before, int after, CrossingEditor? editor, int betweenPieces) => new()
    {
        ["meetingPairsBefore"] = before,
        ["meetingPairsAfter"] = after,
        ["meetingPairsBetweenPieces"] = betweenPieces,
        ["placesReshaped"] = editor?.Reshaped ?? 0,
        ["placesRefilled"] = editor?.Refilled ?? 0,
        ["placesFused"] = editor?.Fused ?? 0,
        ["placesTrimmed"] = editor?.Trimmed ?? 0,
        ["placesOpened"] = editor?.Opened ?? 0,
        ["partsSevered"] = editor?.PartsSevered ?? 0,
        ["crumbTrianglesDropped"] = editor?.CrumbTriangles ?? 0,
    };

    private static Finding Removed(int before, int after, CrossingEditor editor)
    {
        var places = editor.Reshaped + editor.Refilled + editor.Fused + editor.Trimmed + editor.Opened;
        return new(
            FindingCodes.SelfIntersectionsRemoved,
            editor.Opened > 0 || editor.PartsSevered > 0 ? Severity.Caution : Severity.Note,
            string.Create(CultureInfo.InvariantCulture, $"{before - after} of {before} pairs of triangles that met each other were removed by {places} repairs: {editor.Fused} joined what passed through itself, {editor.Opened} left a hole; {editor.PartsSevered} parts came loose; the surface moved by at most {editor.Displacement.MaxMm:G3} mm."),
            "Look at the changed triangles (origin filled); fill the holes that were left, join or drop the parts that came loose.");
    }

    private static IEnumerable<Finding> LeftFindings(Mesh mesh, IReadOnlyList<TrianglePair> left, int[] pieces)
    {
        var between = left.Where(p => pieces[p.First] != pieces[p.Second]).ToList();
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
        foreach (var place in Places(left.Where(p => pieces[p.First] == pieces[p.Second]).ToList(), mesh))
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
