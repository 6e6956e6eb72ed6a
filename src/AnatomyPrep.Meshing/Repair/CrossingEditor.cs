using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Works off the places where a mesh meets itself; see <see cref="RemoveSelfIntersections"/>.</summary>
internal sealed class CrossingEditor
{
    private const int MostRings = 5;

    private readonly ContactIndex _index;
    private readonly List<int> _pieceOf;
    private readonly List<bool> _mayChange;
    private readonly Dictionary<int, List<int>> _partners = [];

    public CrossingEditor(Mesh mesh, TriangleTree tree, IReadOnlyList<TrianglePair> pairs)
    {
        Mesh = new EditableMesh(mesh);
        _index = new ContactIndex(Mesh, tree);
        _pieceOf = [.. Pieces.Label(mesh.Triangles, mesh.VertexCount, out _)];
        foreach (var pair in pairs)
            AddPair(pair.First, pair.Second);
        _mayChange = [.. FaultReach.Find(mesh, _partners.Keys.Order().Where(IsFaulty))];
    }

    public EditableMesh Mesh { get; }

    public Displacement Displacement { get; private set; }

    public int Reshaped { get; private set; }

    public int Refilled { get; private set; }

    public int Trimmed { get; private set; }

    public void Run(int rounds, string step, RunContext run)
    {
        for (var round = 0; round < rounds; round++)
        {
            var places = FindPlaces();
            var changed = false;
            for (var i = 0; i < places.Count; i++)
            {
                run.ThrowIfCancelled();
                run.Report(step, "repair", (double)i / places.Count);
                changed |= Repair(places[i], run);
            }

            if (!changed)
                return;
        }
    }

    /// <summary>Does the triangle meet one of its own piece?</summary>
    private bool IsFaulty(int t) => _partners.TryGetValue(t, out var partners) && partners.Exists(p => _pieceOf[p] == _pieceOf[t]);

    private List<List<int>> FindPlaces()
    {
        var places = new List<List<int>>();
        var seen = new HashSet<int>();
        foreach (var start in _partners.Keys.Where(IsFaulty).Order())
        {
            if (!seen.Add(start))
                continue;
            var place = new List<int> { start };
            for (var i = 0; i < place.Count; i++)
            {
                foreach (var partner in _partners[place[i]])
                    if (_pieceOf[partner] == _pieceOf[start] && seen.Add(partner))
                        place.Add(partner);
                foreach (var near in Around(place[i]))
                    if (IsFaulty(near) && seen.Add(near))
                        place.Add(near);
            }

            places.Add(place);
        }

        return places;
    }

    private IEnumerable<int> Around(int t)
    {
        for (var c = 0; c < 3; c++)
            for (var corner = Mesh.FirstCorner(Mesh.Corner((3 * t) + c)); corner >= 0; corner = Mesh.NextCorner(corner))
                yield return corner / 3;
    }

    private bool Repair(List<int> place, RunContext run)
    {
        var region = place.Where(t => Mesh.IsAlive(t) && IsFaulty(t)).ToHashSet();
        if (region.Count == 0)
            return false;
        var faulty = region.Order().ToArray();
        (Replacement What, int Gain)? best = null;
        for (var rings = 0; rings <= MostRings; rings++)
        {
            if (rings > 0 && !Grow(region))
                break;
            var surgery = new LocalSurgery(Mesh, [.. region.Order()], t => _mayChange[t]);
            var before = CountPairs(surgery.Region);
            foreach (var candidate in surgery.Candidates(run))
            {
                var after = _index.FindContacts(candidate, run).Count;
                if (after == 0)
                    return Accept(candidate, run);
                if (before - after > (best?.Gain ?? 0))
                    best = (candidate, before - after);
            }
        }

        if (LocalSurgery.Trim(Mesh, faulty) is { } trim)
            return Accept(trim, run);
        return best is { } partial && Accept(partial.What, run);
    }

    private bool Grow(HashSet<int> region)
    {
        var added = false;
        foreach (var t in region.Order().ToArray())
            foreach (var near in Around(t))
                if (_mayChange[near] && region.Add(near))
                    added = true;
        return added;
    }

    private int CountPairs(int[] region)
    {
        var inside = region.ToHashSet();
        var count = 0;
        foreach (var t in region)
            if (_partners.TryGetValue(t, out var partners))
                count += partners.Count(p => p > t || !inside.Contains(p));
        return count;
    }

    private bool Accept(Replacement what, RunContext run)
    {
        var contacts = _index.FindContacts(what, run);
        var piece = _pieceOf[what.Removed[0]];
        foreach (var t in what.Removed)
            ForgetPairs(t);
        var numbers = what.Apply(Mesh);
        foreach (var t in numbers)
        {
            while (_pieceOf.Count <= t)
            {
                _pieceOf.Add(piece);
                _mayChange.Add(true);
            }

            _index.Add(t);
        }

        foreach (var (own, other) in contacts)
            AddPair(numbers[own], other < 0 ? numbers[~other] : other);
        Displacement = Displacement.With(what.Moved);
        Reshaped += what.Kind == RepairKind.Reshape ? 1 : 0;
        Refilled += what.Kind == RepairKind.Refill ? 1 : 0;
        Trimmed += what.Kind == RepairKind.Trim ? 1 : 0;
        return true;
    }

    private void AddPair(int a, int b)
    {
        Partners(a).Add(b);
        Partners(b).Add(a);

        List<int> Partners(int t) => _partners.TryGetValue(t, out var list) ? list : _partners[t] = [];
    }

    private void ForgetPairs(int t)
    {
        if (!_partners.Remove(t, out var partners))
            return;
        foreach (var p in partners)
            if (_partners.TryGetValue(p, out var back))
                back.Remove(t);
    }
}
