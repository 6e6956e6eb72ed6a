using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Takes a smooth patch back where it runs into the surface or itself.</summary>
/// <remarks>
/// A patch that goes on in the direction of its surroundings can leave them on the wrong side where the rim turns sharply or is ragged. New
/// vertices within a few edges of a contact are put into the middle of their neighbours, which draws the patch towards the shortest way
/// across; the reach grows by an edge every second round, and the rest keeps its shape. At most <see cref="MostRounds"/> rounds, each one
/// with an exact test for contacts, over when there are none or no new vertex has a part in any.
/// </remarks>
internal static class PatchUntangle
{
    private const int MostRounds = 12;
    private const int Sweeps = 5;

    // More than this share of triangles in contact is no matter of a few places.
    private const double MostContacts = 0.05;

    /// <returns>The patch with the fewest contacts that came by.</returns>
    public static HolePatch Apply(Vec3[] rim, HolePatch patch, List<int> contacts, Func<HolePatch, List<int>> findContacts, RunContext run)
    {
        var best = patch;
        if (patch.NewPoints.Length == 0 || contacts.Count > MostContacts * patch.Triangles.Length)
            return best;
        var neighbours = Neighbours(patch);
        for (var round = 0; round < MostRounds && contacts.Count > 0; round++)
        {
            run.ThrowIfCancelled();
            var inner = Near(patch, contacts, neighbours, 1 + (round / 2));
            if (inner.Count == 0)
                break;
            patch = patch with { NewPoints = Relaxed(rim, patch.NewPoints, inner, neighbours) };
            contacts = findContacts(patch);
            if (contacts.Count < best.Contacts)
                best = patch with { Contacts = contacts.Count };
        }

        return best;
    }

    private static SortedSet<int>[] Neighbours(HolePatch patch)
    {
        var neighbours = new SortedSet<int>[patch.Rim.Length + patch.NewPoints.Length];
        for (var v = 0; v < neighbours.Length; v++)
            neighbours[v] = [];
        foreach (var (a, b, c) in patch.Triangles)
        {
            neighbours[a].UnionWith([b, c]);
            neighbours[b].UnionWith([c, a]);
            neighbours[c].UnionWith([a, b]);
        }

        return neighbours;
    }

    private static SortedSet<int> Near(HolePatch patch, List<int> contacts, SortedSet<int>[] neighbours, int edges)
    {
        var near = new SortedSet<int>();
        foreach (var t in contacts)
        {
            var (a, b, c) = patch.Triangles[t];
            near.UnionWith([a, b, c]);
        }

        for (var i = 0; i < edges; i++)
            foreach (var v in near.ToArray())
                near.UnionWith(neighbours[v]);
        near.RemoveWhere(v => v < patch.Rim.Length);
        return near;
    }

    private static Vec3[] Relaxed(Vec3[] rim, Vec3[] points, SortedSet<int> inner, SortedSet<int>[] neighbours)
    {
        Vec3[] all = [.. rim, .. points];
        for (var sweep = 0; sweep < Sweeps; sweep++)
        {
            foreach (var v in inner)
            {
                var sum = Vec3.Zero;
                foreach (var w in neighbours[v])
                    sum += all[w];
                all[v] = sum / neighbours[v].Count;
            }
        }

        return Array.ConvertAll(all[rim.Length..], p => new Vec3((float)p.X, (float)p.Y, (float)p.Z));
    }
}
