using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Combining;
using AnatomyPrep.Meshing.Repair;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Prepare;

/// <summary>Where closed voids could be opened, and whether that works.</summary>
/// <remarks>
/// The first hole is where the wall between void and outside is thinnest. The next is as far from it as can be where the wall is no more than half
/// thicker, or a millimetre: one for air to come in, one for the filling to get out.
/// </remarks>
internal static class VoidDrains
{
    private const double ThickerBy = 1.5;
    private const double ThickerMm = 1;
    private const double LongestMm = 200;

    public static Vec3 Middle(Mesh mesh, Pieces pieces, int piece)
    {
        var bounds = Box3.Empty;
        for (var h = 0; h < mesh.Triangles.Length; h++)
            if (pieces.PieceOfTriangle[h / 3] == piece)
                bounds = bounds.Including(mesh.Local(mesh.Triangles[h]));
        return bounds.Center + mesh.OriginMm;
    }

    /// <returns>Proposals of each void, not yet tried.</returns>
    public static IReadOnlyList<DrainProposal>[] Propose(Mesh mesh, Pieces pieces, int[] voids, PrintProfile profile, RunContext run)
    {
        var outer = TriangleTree.Build(Outward(mesh, pieces), run);
        return [.. voids.Select(piece => (IReadOnlyList<DrainProposal>)Of(piece))];

        List<DrainProposal> Of(int piece)
        {
            // Middles of triangles, not corners: a hole at a corner of a void with few triangles would run along its wall.
            var middles = Enumerable.Range(0, mesh.TriangleCount).Where(t => pieces.PieceOfTriangle[t] == piece).Select(t => Centre(mesh, t)).ToArray();
            var nearest = outer.Nearest(middles, run);
            if (middles.Length == 0 || !nearest[0].Found)
                return [];
            var first = Enumerable.Range(0, middles.Length).MinBy(i => nearest[i].DistanceMm);
            var limit = Math.Max(nearest[first].DistanceMm * ThickerBy, nearest[first].DistanceMm + ThickerMm);
            var holes = new List<int> { first };
            while (holes.Count < profile.DrainsEach)
            {
                var next = Enumerable.Range(0, middles.Length).Where(i => nearest[i].DistanceMm <= limit)
                    .MaxBy(i => holes.Min(h => Vec3.Distance(middles[h], middles[i])));
                if (holes.Min(h => Vec3.Distance(nearest[h].PositionMm, nearest[next].PositionMm)) < 2 * profile.DrainMm)
                    break;
                holes.Add(next);
            }

            return [.. holes.Select(i => new DrainProposal(middles[i], nearest[i].PositionMm, profile.DrainMm, nearest[i].DistanceMm, false))];
        }
    }

    /// <summary>Drills every proposal into a copy: all at once, and one void after the other where that is refused.</summary>
    public static IReadOnlyList<DrainProposal>[] Prove(Mesh mesh, IReadOnlyList<DrainProposal>[] proposals, PrintProfile profile, RunContext run)
    {
        if (Opens(mesh, [.. proposals.SelectMany(p => p)], profile, run) is >= 0 and var left && left == proposals.Count(p => p.Count == 0))
            return Array.ConvertAll(proposals, Opened);
        return Array.ConvertAll(proposals, p => p.Count > 0 && Opens(mesh, p, profile, run) is >= 0 and var closed && closed < proposals.Length ? Opened(p) : p);
    }

    private static IReadOnlyList<DrainProposal> Opened(IReadOnlyList<DrainProposal> holes) => [.. holes.Select(h => h with { Opens = true })];

    /// <returns>Voids that stay closed; −1 when the drilling was refused.</returns>
    private static int Opens(Mesh mesh, IReadOnlyList<DrainProposal> holes, PrintProfile profile, RunContext run)
    {
        if (holes.Count == 0)
            return -1;
        try
        {
            var drilled = Drain.Apply(mesh, new(profile.DrainMm, [.. holes.Select(h => h.ToMm)], MaxWallMm: LongestMm), run);
            return (int)drilled.Effect.Measures!["voidsAfter"];
        }
        catch (CheckFailedException)
        {
            return -1;
        }
    }

    private static Vec3 Centre(Mesh mesh, int t)
    {
        var (a, b, c) = mesh.Triangle(t);
        return (mesh.Vertex(a) + mesh.Vertex(b) + mesh.Vertex(c)) / 3;
    }

    private static Mesh Outward(Mesh mesh, Pieces pieces)
    {
        var triangles = new List<int>();
        for (var t = 0; t < mesh.TriangleCount; t++)
            if (!pieces.All[pieces.PieceOfTriangle[t]].FacesInward)
                triangles.AddRange(mesh.Triangles.Slice(3 * t, 3));
        return new(mesh.OriginMm, mesh.PositionArray, [.. triangles]);
    }
}
