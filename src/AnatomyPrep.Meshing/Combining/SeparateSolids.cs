using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Repair;

namespace AnatomyPrep.Meshing.Combining;

/// <summary>One of several solids after <see cref="SeparateSolids"/>.</summary>
/// <param name="RemovedMm3">Volume that went to the solids before it.</param>
/// <param name="SliversMm3">Part of <paramref name="RemovedMm3"/>: pieces that were left too small to keep.</param>
/// <param name="Slivers">Number of those pieces.</param>
public sealed record SeparatedSolid(Mesh Mesh, double RemovedMm3, double SliversMm3, int Slivers);

/// <summary>Takes from each of several solids what those before it hold, so that no two hold the same place.</summary>
/// <remarks>
/// The first stays as it is, bit for bit. Method, exactness and origins as in <see cref="Combine"/>: the new wall of a solid is the
/// wall of the one before it, turned round, with its origins. Where two surfaces nearly coincide, a difference leaves films and crumbs:
/// pieces of less than <c>leastPieceMm3</c> of a solid that had to give something are dropped, and counted.
/// Cost: one difference for each pair whose boxes meet. Same bytes on every run.
/// </remarks>
public static class SeparateSolids
{
    private const string Step = "separate";

    /// <param name="solids">In order of precedence: what two hold goes to the first. Closed solids with one origin (<see cref="Mesh.OriginMm"/>).</param>
    /// <param name="leastPieceMm3">Pieces of less volume that a difference leaves are dropped; 0 keeps all.</param>
    /// <exception cref="CheckFailedException">A mesh is not a solid, or what is left of it cannot be made one; nothing has changed.</exception>
    public static IReadOnlyList<SeparatedSolid> Apply(IReadOnlyList<Mesh> solids, double leastPieceMm3, RunContext run)
    {
        if (!(leastPieceMm3 >= 0))
            throw new ArgumentOutOfRangeException(nameof(leastPieceMm3), leastPieceMm3, "A volume in mm³, 0 or more.");
        var separated = new List<SeparatedSolid>();
        foreach (var solid in solids)
        {
            run.ThrowIfCancelled();
            separated.Add(Without(solid, separated, leastPieceMm3, run));
        }

        return separated;
    }

    /// <summary>Volume that two solids share, in mm³; 0 where they only touch.</summary>
    /// <remarks>As the engine computes it, before rounding to float32: surfaces that coincide give films of no thickness.</remarks>
    /// <exception cref="CheckFailedException">A mesh is not closed.</exception>
    public static double SharedMm3(Mesh a, Mesh b, RunContext run)
    {
        if (!Meet(a, b))
            return 0;
        using var engine = SolidEngine.Start(a.OriginMm, run);
        engine.Add(a);
        engine.Add(b);
        var shared = engine.Read(engine.Combine(BooleanOperation.Intersection, 0, 1));
        return Math.Max(0, MeshMeasures.SignedVolumeMm3(new(a.OriginMm, shared.Positions, shared.Triangles), run));
    }

    private static SeparatedSolid Without(Mesh solid, List<SeparatedSolid> before, double leastPieceMm3, RunContext run)
    {
        var earlier = before.Select(s => s.Mesh).Where(m => m.TriangleCount > 0 && Meet(m, solid)).ToArray();
        if (earlier.Length == 0 || solid.TriangleCount == 0)
            return new(solid, 0, 0, 0);
        var volumeMm3 = MeshMeasures.SignedVolumeMm3(solid, run);
        var left = solid;
        foreach (var other in earlier)
        {
            left = Combine.Difference(left, other, run).Mesh;
            if (left.TriangleCount == 0)
                return new(left, volumeMm3, 0, 0);
        }

        var (kept, sliversMm3, slivers) = WithoutSlivers(left, leastPieceMm3, run);
        return new(kept, volumeMm3 - MeshMeasures.SignedVolumeMm3(kept, run), sliversMm3, slivers);
    }

    private static (Mesh Kept, double Mm3, int Count) WithoutSlivers(Mesh mesh, double leastPieceMm3, RunContext run)
    {
        var pieces = Pieces.Find(mesh, run);
        var isSliver = pieces.All.Select(p => !p.FacesInward && p.VolumeMm3 < leastPieceMm3).ToArray();
        var count = isSliver.Count(s => s);
        if (count == 0 || count == isSliver.Length)
            return (mesh, 0, 0);
        var kept = new bool[mesh.TriangleCount];
        for (var t = 0; t < kept.Length; t++)
            kept[t] = !isSliver[pieces.PieceOfTriangle[t]];
        return (MeshSubset.Keep(mesh, kept), pieces.All.Where((_, p) => isSliver[p]).Sum(p => p.VolumeMm3), count);
    }

    private static bool Meet(Mesh a, Mesh b)
    {
        Box3 one = a.BoundsMm(), other = b.BoundsMm();
        for (var axis = 0; axis < 3; axis++)
            if (one.Min[axis] > other.Max[axis] || other.Min[axis] > one.Max[axis])
                return false;
        return true;
    }
}
