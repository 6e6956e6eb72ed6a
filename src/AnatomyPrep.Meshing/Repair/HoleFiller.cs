using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Makes the patches for one hole, best first. Reads the mesh only, so holes can be worked on side by side.</summary>
internal static class HoleFiller
{
    private const int MostDetours = 12;

    /// <returns>The first that meets nothing, else the one that meets least; null when the rim cannot be closed.</returns>
    public static HolePatch? Best(
        Mesh mesh, VertexTriangles around, HoleRim rim, FillMethod method, PatchCheck check, IReadOnlyList<HolePatch> others, RunContext run)
    {
        HolePatch? best = null;
        foreach (var candidate in Candidates(mesh, around, rim, method, run))
        {
            var contacts = check.FindContacts(candidate, others, run);
            var parted = PatchUntangle.Apply(rim.Points, candidate with { Contacts = contacts.Count }, contacts, p => check.FindContacts(p, others, run), run);
            if (best is null || parted.Contacts < best.Contacts)
                best = parted;
            if (best.Contacts == 0)
                return best;
        }

        return best is null ? null : Detour(rim, best, check, others, run);
    }

    /// <summary>Triangulates anew without the chords of the triangles that met something, again and again.</summary>
    private static HolePatch Detour(HoleRim rim, HolePatch best, PatchCheck check, IReadOnlyList<HolePatch> others, RunContext run)
    {
        var forbidden = new HashSet<(int, int)>();
        bool IsForbidden(int i, int k) => rim.AreJoined(i, k) || forbidden.Contains((i, k));
        for (var detour = 0; detour < MostDetours; detour++)
        {
            run.ThrowIfCancelled();
            var triangles = RimTriangulation.Triangulate(rim.Points, rim.OutsideNormals, IsForbidden, weighAngles: true);
            if (triangles is null)
                break;
            var candidate = ToPatch(rim, new PatchMesh(rim.Points, triangles, IsForbidden), [], PatchShape.Flat);
            var contacts = check.FindContacts(candidate, others, run);
            if (contacts.Count < best.Contacts)
                best = candidate with { Contacts = contacts.Count };
            if (contacts.Count == 0)
                break;
            var before = forbidden.Count;
            foreach (var t in contacts)
            {
                var (a, b, c) = candidate.Triangles[t];
                Forbid(a, b);
                Forbid(b, c);
                Forbid(c, a);
            }

            if (forbidden.Count == before)
                break;
        }

        return best;

        void Forbid(int i, int k)
        {
            if (Math.Abs(i - k) != 1 && Math.Abs(i - k) != rim.Count - 1)
                forbidden.Add((Math.Min(i, k), Math.Max(i, k)));
        }
    }

    /// <returns>Empty when no triangulation of the rim avoids doubling an edge of the surface.</returns>
    private static IEnumerable<HolePatch> Candidates(Mesh mesh, VertexTriangles around, HoleRim rim, FillMethod method, RunContext run)
    {
        // A rim of three edges around a lone triangle: its fill would be the triangle's back.
        if (rim.Count == 3 && rim.Ring.Exists(t => t.A < 3 && t.B < 3 && t.C < 3))
            yield break;
        var triangles = RimTriangulation.Triangulate(rim.Points, rim.OutsideNormals, rim.AreJoined, weighAngles: method == FillMethod.Smooth);
        if (triangles is null)
            yield break;
        if (method == FillMethod.Smooth)
        {
            foreach (var smooth in SmoothCandidates(mesh, around, rim, triangles, run))
                yield return smooth;
            triangles = RimTriangulation.Triangulate(rim.Points, rim.OutsideNormals, rim.AreJoined, weighAngles: false)!;
        }

        // Turning an edge between two coplanar triangles keeps the area and makes better ones.
        var flat = new PatchMesh(rim.Points, triangles, rim.AreJoined);
        flat.Relax(flat.AllHalfEdges(), 1 - 1e-9);
        yield return ToPatch(rim, flat, [], PatchShape.Flat);
    }

    private static IEnumerable<HolePatch> SmoothCandidates(
        Mesh mesh, VertexTriangles around, HoleRim rim, List<(int A, int B, int C)> triangles, RunContext run)
    {
        var patch = new PatchMesh(rim.Points, triangles, rim.AreJoined);
        PatchRefinement.Refine(patch, rim.LengthsMm, run);
        var fairing = PatchFairing.Of(patch, rim);
        var plate = fairing.ThinPlate(run);
        if (plate is null)
            yield break;
        if (plate.Length > 0 && fairing.Curved(RimCurvature.Estimate(mesh, around, rim, run), run) is { } curved)
            yield return ToPatch(rim, patch, curved, PatchShape.Curved);
        yield return ToPatch(rim, patch, plate, PatchShape.ThinPlate);
    }

    private static HolePatch ToPatch(HoleRim rim, PatchMesh patch, Vec3[] newPoints, PatchShape shape) => new(
        rim.Vertices,
        Array.ConvertAll(newPoints, p => new Vec3((float)p.X, (float)p.Y, (float)p.Z)),
        [.. Enumerable.Range(0, patch.TriangleCount).Select(patch.Triangle)],
        shape);
}
