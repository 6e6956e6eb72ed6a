using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>What a hand-held scanner leaves behind. 0 leaves a kind alone.</summary>
/// <param name="LooseTriangles">Open pieces with at most so many triangles go; what hangs by a vertex only is a piece of its own here.</param>
/// <param name="PeninsulaTriangles">Peninsulas of the border up to twice so many triangles wide go where they reach beyond that.</param>
/// <param name="SpikeRatio">
/// An inner vertex farther from the plane through its neighbours than this times their mean distance from their centre (or
/// half the mesh's mean edge, where that is more) is a spike; a right-angled cone tip has 1, an equilateral one 1.7.
/// </param>
public sealed record RemoveTagsParameters(int LooseTriangles = 12, int PeninsulaTriangles = 1, double SpikeRatio = 1.5);

/// <summary>Removes loose tags, thin peninsulas with dangling triangles at the border, and spikes.</summary>
/// <remarks>
/// Tags: open sets of triangles that hang together by edges with two users, by number of triangles.
/// Peninsulas: opening of the surface by rings of triangles from the border (erosion by k rings, dilation by k + 1 within
/// what was there): what does not come back and hangs on the rest along one stretch only is removed; a strip that leads
/// from one part to another stays, and so does a piece that is thin all over.
/// Spikes: vertex and neighbours are taken out and the place is filled smooth (<see cref="RegionRefill"/>); at a border the
/// spike's triangles go. Where more than one vertex in a hundred is a spike, none is removed: the shape is pointed.
/// Tags and peninsulas are repeated until none is left, then come the spikes. O(triangles) a round.
/// </remarks>
public static class RemoveTags
{
    private const string Step = "remove tags";

    // Where more of the vertices are spikes, pointed is what the surface is.
    private const double MostSpikeShare = 0.01;

    public static RepairResult Apply(Mesh mesh, RemoveTagsParameters parameters, RunContext run)
    {
        ArgumentOutOfRangeException.ThrowIfNegative(parameters.LooseTriangles);
        ArgumentOutOfRangeException.ThrowIfNegative(parameters.PeninsulaTriangles);
        ArgumentOutOfRangeException.ThrowIfNegative(parameters.SpikeRatio);
        var trimmed = Trim(mesh, parameters, run, out var trim);
        if (trimmed.TriangleCount == 0 && mesh.TriangleCount > 0)
            return RepairResult.Unchanged(mesh, run, [NothingLeft()]);

        run.Report(Step, "spikes", 0.6);
        var spikes = FindSpikes(trimmed, parameters.SpikeRatio, run, out var remove, out var highestMm);
        var refill = spikes == 0 ? null : RegionRefill.Apply(trimmed, remove, FillMethod.Smooth, Step, run);
        var after = refill?.Mesh ?? trimmed;
        var measures = new Dictionary<string, double>
        {
            ["looseTrianglesRemoved"] = trim.Loose,
            ["peninsulaTrianglesRemoved"] = trim.Thin,
            ["spikesRemoved"] = spikes,
            ["highestSpikeMm"] = highestMm,
        };
        if (ReferenceEquals(after, mesh))
            return RepairResult.Unchanged(mesh, run, measures: measures);
        var changed = trim.AreaMm2 + (refill is null ? 0 : refill.RemovedAreaMm2 + refill.FilledAreaMm2);
        var moved = spikes == 0 ? default : default(DistanceTally).With(highestMm);
        return RepairResult.Changed(mesh, after, changed, moved, run, measures, [Removed(measures)]);
    }

    // A piece without its peninsula may be small enough to be loose: repeated until nothing goes, so each round but the last removes some.
    private static Mesh Trim(Mesh mesh, RemoveTagsParameters parameters, RunContext run, out (int Loose, int Thin, double AreaMm2) removed)
    {
        removed = default;
        while (true)
        {
            run.Report(Step, "loose and thin", 0);
            run.ThrowIfCancelled();
            var loose = FindLoose(mesh, parameters.LooseTriangles);
            var tidy = MeshSubset.Keep(mesh, Array.ConvertAll(loose, l => !l));
            var thin = Peninsulas.Find(tidy, parameters.PeninsulaTriangles, run);
            var trimmed = MeshSubset.Keep(tidy, Array.ConvertAll(thin, t => !t));
            removed = (removed.Loose + loose.Count(l => l), removed.Thin + thin.Count(t => t), removed.AreaMm2 + Area(mesh, loose) + Area(tidy, thin));
            if (ReferenceEquals(trimmed, mesh))
                return mesh;
            mesh = trimmed;
        }
    }

    private static bool[] FindLoose(Mesh mesh, int mostTriangles)
    {
        var loose = new bool[mesh.TriangleCount];
        if (mostTriangles == 0)
            return loose;
        var edges = EdgeTable.Build(mesh);
        var pieceOf = EdgeConnected.Label(TriangleNeighbours.Build(mesh.Triangles, edges), mesh.TriangleCount, out var count);
        var size = new int[count];
        var open = new bool[count];
        for (var t = 0; t < loose.Length; t++)
        {
            size[pieceOf[t]]++;
            for (var h = 3 * t; h < (3 * t) + 3; h++)
                open[pieceOf[t]] |= edges.Opposite[h] == EdgeTable.Boundary;
        }

        // The largest piece is what the others are loose from.
        var largest = count == 0 ? -1 : Array.IndexOf(size, size.Max());
        for (var t = 0; t < loose.Length; t++)
            loose[t] = pieceOf[t] != largest && open[pieceOf[t]] && size[pieceOf[t]] <= mostTriangles;
        return loose;
    }

    /// <returns>Number of spikes; <paramref name="remove"/> marks the triangles around them.</returns>
    private static int FindSpikes(Mesh mesh, double ratio, RunContext run, out bool[] remove, out double highestMm)
    {
        const int block = 1 << 14;
        remove = new bool[mesh.TriangleCount];
        highestMm = 0;
        if (ratio == 0)
            return 0;
        var around = VertexTriangles.Of(mesh);
        var leastReach = MeanEdge(mesh) / 2;
        var heights = new double[mesh.VertexCount];
        Partition.Ranges(run, mesh.VertexCount, block, (_, from, to) =>
        {
            for (var v = from; v < to; v++)
                heights[v] = SpikeHeight(mesh, around, v, ratio, leastReach);
        });
        var spikes = 0;
        if (heights.Count(h => h > 0) > MostSpikeShare * mesh.VertexCount)
            return 0;
        for (var v = 0; v < heights.Length; v++)
        {
            if (heights[v] == 0)
                continue;
            spikes++;
            highestMm = Math.Max(highestMm, heights[v]);
            foreach (var corner in around.CornersAt(v))
                remove[corner / 3] = true;
        }

        return spikes;
    }

    // Height over the neighbours' plane when that makes a spike, else 0. The plane: through their mean, normal to the vector
    // area of the ring, which the vertex itself does not change.
    private static double SpikeHeight(Mesh mesh, VertexTriangles around, int v, double ratio, double leastReach)
    {
        var corners = around.CornersAt(v);
        if (corners.Length < 3)
            return 0;
        Vec3 center = default, normal = default;
        foreach (var corner in corners)
            center += mesh.Local(mesh.Triangles[EdgeTable.Next(corner)]) + mesh.Local(mesh.Triangles[EdgeTable.Previous(corner)]);
        center /= 2 * corners.Length;
        double reach = 0;
        foreach (var corner in corners)
        {
            Vec3 p = mesh.Local(mesh.Triangles[EdgeTable.Next(corner)]), q = mesh.Local(mesh.Triangles[EdgeTable.Previous(corner)]);
            normal += Vec3.Cross(p - center, q - center);
            reach += Vec3.Distance(p, center) + Vec3.Distance(q, center);
        }

        reach = Math.Max(leastReach, reach / (2 * corners.Length));
        var height = Math.Abs(Vec3.Dot(mesh.Local(v) - center, normal.Normalized()));
        return height > ratio * reach ? height : 0;
    }

    private static double MeanEdge(Mesh mesh)
    {
        double sum = 0;
        for (var h = 0; h < mesh.Triangles.Length; h++)
            sum += Vec3.Distance(mesh.Local(mesh.Triangles[h]), mesh.Local(mesh.Triangles[EdgeTable.Next(h)]));
        return sum / Math.Max(1, mesh.Triangles.Length);
    }

    private static double Area(Mesh mesh, bool[] chosen)
    {
        double sum = 0;
        for (var t = 0; t < chosen.Length; t++)
            if (chosen[t])
                sum += MeshMeasures.TriangleAreaMm2(mesh, t);
        return sum;
    }

    private static Finding Removed(Dictionary<string, double> measures) => new(
        FindingCodes.TagsRemoved,
        Severity.Note,
        string.Create(CultureInfo.InvariantCulture, $"{measures["looseTrianglesRemoved"]} loose triangles, {measures["peninsulaTrianglesRemoved"]} triangles of thin peninsulas and {measures["spikesRemoved"]} spikes up to {measures["highestSpikeMm"]:G4} mm high were removed."),
        "Nothing to do; raise the spike ratio if a sharp part was taken for a spike.");

    private static Finding NothingLeft() => new(
        FindingCodes.NothingLeft, Severity.Stop, "The whole mesh is made of tags.", "Lower the limits, or check that the right file was read.");
}
