using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Works off the places where a mesh meets itself; see <see cref="RemoveSelfIntersections"/>.</summary>
internal sealed class CrossingEditor
{
    private const int MostRings = 5;

    // A place that is more of its piece than this is no fault in a surface: nothing around it says what the surface should be.
    private const double MostShare = 0.25;

    private const double CrumbShare = 0.005;

    private readonly ContactIndex _index;
    private readonly List<int> _pieceOf;
    private readonly List<bool> _mayChange;
    private readonly Dictionary<int, List<int>> _partners = [];
    private readonly double[] _pieceMm2;
    private readonly CrossingFusion _fusion;

    public CrossingEditor(Mesh mesh, TriangleTree tree, IReadOnlyList<TrianglePair> pairs, int[] pieceOf)
    {
        Mesh = new EditableMesh(mesh);
        _fusion = new CrossingFusion(mesh, pieceOf);
        _index = new ContactIndex(Mesh, tree);
        _pieceOf = [.. pieceOf];
        foreach (var pair in pairs)
            AddPair(pair.First, pair.Second);
        _pieceMm2 = new double[pieceOf.Length == 0 ? 0 : pieceOf.Max() + 1];
        for (var t = 0; t < pieceOf.Length; t++)
            _pieceMm2[pieceOf[t]] += Mesh.AreaMm2(t);
        _mayChange = [.. FaultReach.Find(mesh, _partners.Keys.Order().Where(IsFaulty))];
    }

    public EditableMesh Mesh { get; }

    public DistanceTally Displacement { get; private set; }

    public int Reshaped { get; private set; }

    public int Refilled { get; private set; }

    public int Fused { get; private set; }

    public int Trimmed { get; private set; }

    public int Opened { get; private set; }

    public int CrumbTriangles { get; private set; }

    /// <summary>Parts that hang no longer on the piece they were of, crumbs not counted.</summary>
    public int PartsSevered { get; private set; }

    /// <summary>Pairs within one piece before each round and at the end; falls strictly.</summary>
    public List<int> PairsByRound { get; } = [];

    /// <summary>Pairs that still meet, in the numbers of the mesh when it is built, all called crossing; and the piece of each triangle.</summary>
    public List<TrianglePair> PairsLeft(out int[] pieceOf)
    {
        var number = new int[Mesh.TriangleCount];
        var pieces = new List<int>(number.Length);
        for (var t = 0; t < number.Length; t++)
        {
            number[t] = pieces.Count;
            if (Mesh.IsAlive(t))
                pieces.Add(_pieceOf[t]);
        }

        pieceOf = [.. pieces];
        var left = new List<TrianglePair>();
        foreach (var (t, partners) in _partners)
            foreach (var p in partners)
                if (t < p)
                    left.Add(new(number[t], number[p], Contact.Crossing));
        left.Sort();
        return left;
    }

    /// <param name="openWhatStays">Take away the triangles that still meet at the end.</param>
    public void Run(int rounds, bool openWhatStays, string step, RunContext run)
    {
        PairsByRound.Add(CountOwnPairs());
        for (var round = 0; round < rounds && PairsByRound[^1] > 0; round++)
        {
            // The gentlest for every place first, the strongest only when nothing else does any good.
            Visit(step, run, RepairInPlace);
            if (CountOwnPairs() == PairsByRound[^1])
                Fuse(run);
            if (CountOwnPairs() == PairsByRound[^1])
                Visit(step, run, Part);
            if (CountOwnPairs() == PairsByRound[^1])
                break;
            PairsByRound.Add(CountOwnPairs());
        }

        if (openWhatStays && PairsByRound[^1] > 0)
            Open(run);
        DropCrumbs();
    }

    private void Visit(string step, RunContext run, Action<LocalSurgery[], RunContext> repair)
    {
        var places = FindPlaces();
        for (var i = 0; i < places.Count; i++)
        {
            run.ThrowIfCancelled();
            run.Report(step, "repair", (double)i / places.Count);
            var sizes = Sizes(places[i]);
            if (sizes.Length > 0)
                repair(sizes, run);
        }
    }

    private void Open(RunContext run)
    {
        foreach (var place in FindPlaces().Where(p => !IsWholesale(p)))
            Accept(new(RepairKind.Open, [.. place.Order()], [], [], [], default), run);
        if (CountOwnPairs() < PairsByRound[^1])
            PairsByRound.Add(CountOwnPairs());
    }

    /// <summary>Drops crumbs: what came loose from its piece and is hardly anything of it.</summary>
    private void DropCrumbs()
    {
        if (Refilled + Fused + Trimmed + Opened == 0)
            return;
        var alive = Enumerable.Range(0, Mesh.TriangleCount).Where(Mesh.IsAlive).ToArray();
        var corners = new int[3 * alive.Length];
        for (var i = 0; i < corners.Length; i++)
            corners[i] = Mesh.Corner((3 * alive[i / 3]) + (i % 3));
        var part = EdgeConnected.Label(TriangleNeighbours.Build(corners, EdgeTable.Build(corners, Mesh.VertexCount)), alive.Length, out var parts);
        var areaMm2 = new double[parts];
        var wasChanged = new bool[parts];
        for (var i = 0; i < alive.Length; i++)
        {
            areaMm2[part[i]] += Mesh.AreaMm2(alive[i]);
            wasChanged[part[i]] |= _index.HasChanged(alive[i]);
        }

        var pieces = new HashSet<int>();
        var large = new HashSet<int>();
        for (var i = 0; i < alive.Length; i++)
        {
            pieces.Add(_pieceOf[alive[i]]);
            if (!wasChanged[part[i]] || areaMm2[part[i]] >= CrumbShare * _pieceMm2[_pieceOf[alive[i]]])
            {
                large.Add(part[i]);
                continue;
            }

            ForgetPairs(alive[i]);
            Mesh.RemoveTriangle(alive[i]);
            CrumbTriangles++;
        }

        PartsSevered = Math.Max(0, large.Count - pieces.Count);
    }

    /// <summary>Does the triangle meet one of its own piece?</summary>
    private bool IsFaulty(int t) => _partners.TryGetValue(t, out var partners) && partners.Exists(p => _pieceOf[p] == _pieceOf[t]);

    private int CountOwnPairs()
    {
        var twice = 0;
        foreach (var (t, partners) in _partners)
            foreach (var p in partners)
                twice += _pieceOf[p] == _pieceOf[t] ? 1 : 0;
        return twice / 2;
    }

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

    private bool IsWholesale(IEnumerable<int> place) =>
        place.GroupBy(t => _pieceOf[t]).Any(g => g.Sum(Mesh.AreaMm2) > MostShare * _pieceMm2[g.Key]);

    private IEnumerable<int> Around(int t)
    {
        for (var c = 0; c < 3; c++)
            for (var corner = Mesh.FirstCorner(Mesh.Corner((3 * t) + c)); corner >= 0; corner = Mesh.NextCorner(corner))
                yield return corner / 3;
    }

    /// <summary>The place with more and more rings around it.</summary>
    private LocalSurgery[] Sizes(List<int> place)
    {
        var region = place.Where(t => Mesh.IsAlive(t) && IsFaulty(t)).ToHashSet();
        if (region.Count == 0 || IsWholesale(region))
            return [];
        var sizes = new List<LocalSurgery>();
        for (var rings = 0; rings <= MostRings; rings++)
        {
            if (rings > 0 && !Grow(region))
                break;
            sizes.Add(new LocalSurgery(Mesh, [.. region.Order()], t => _mayChange[t]));
        }

        return [.. sizes];
    }

    private void RepairInPlace(LocalSurgery[] sizes, RunContext run)
    {
        var best = new Best();
        foreach (var surgery in sizes)
            if (Try(surgery.Region, surgery.Candidates(run), best, run))
                return;
    }

    private void Part(LocalSurgery[] sizes, RunContext run)
    {
        var best = new Best();
        foreach (var surgery in sizes)
            if (Try(surgery.Region, surgery.Candidates(run), best, run))
                return;
        foreach (var surgery in sizes)
            if (Try(surgery.Region, surgery.PartingCandidates(run), best, run))
                return;
        if (best.What is { } partial)
            Accept(partial, run);
    }

    /// <summary>All places of a piece at once, for one may lie within what another takes away; where that cannot be, each by itself.</summary>
    private void Fuse(RunContext run)
    {
        foreach (var piece in FindPlaces().GroupBy(p => _pieceOf[p[0]]).ToArray())
        {
            if (TryFuse([.. piece.SelectMany(p => p)], run))
                continue;
            foreach (var place in piece)
                TryFuse(place, run);
        }
    }

    private bool TryFuse(List<int> place, RunContext run)
    {
        var faulty = place.Where(t => Mesh.IsAlive(t) && IsFaulty(t)).Order().ToArray();
        if (faulty.Length == 0)
            return false;
        var piece = _pieceOf[faulty[0]];
        var inside = faulty.ToHashSet();
        var pairs = faulty.SelectMany(t => _partners[t].Where(p => t < p && _pieceOf[p] == piece && inside.Contains(p)).Order().Select(p => (t, p))).ToArray();
        if (_fusion.Try(Mesh, piece, pairs, t => !inside.Contains(t) && IsFaulty(t), run) is not { } fused)
            return false;
        var (before, after) = (CountPairs(fused.Removed), CountContacts(fused, run));
        if (after.Own >= before.Own || after.Foreign > before.Foreign)
            return false;
        Accept(fused, run);
        return true;
    }

    /// <returns>True when one left nothing and was taken.</returns>
    private bool Try(int[] region, IEnumerable<Replacement> candidates, Best best, RunContext run)
    {
        var before = CountPairs(region);
        foreach (var candidate in candidates)
        {
            var after = CountContacts(candidate, run);
            if (after.Foreign > before.Foreign)
                continue;
            if (after.Own == 0)
            {
                Accept(candidate, run);
                return true;
            }

            if (before.Own - after.Own > best.Gain)
                (best.What, best.Gain) = (candidate, before.Own - after.Own);
        }

        return false;
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

    /// <summary>Pairs that a region has a part in, with its own piece and with others.</summary>
    private (int Own, int Foreign) CountPairs(int[] region)
    {
        var inside = region.ToHashSet();
        int own = 0, foreign = 0;
        foreach (var t in region)
        {
            if (!_partners.TryGetValue(t, out var partners))
                continue;
            foreach (var p in partners)
            {
                if (_pieceOf[p] != _pieceOf[t])
                    foreign++;
                else if (p > t || !inside.Contains(p))
                    own++;
            }
        }

        return (own, foreign);
    }

    private (int Own, int Foreign) CountContacts(Replacement what, RunContext run)
    {
        var piece = _pieceOf[what.Removed[0]];
        var contacts = _index.FindContacts(what, run);
        var own = contacts.Count(c => c.Other < 0 || _pieceOf[c.Other] == piece);
        return (own, contacts.Count - own);
    }

    private void Accept(Replacement what, RunContext run)
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
        Fused += what.Kind == RepairKind.Fuse ? 1 : 0;
        Trimmed += what.Kind == RepairKind.Trim ? 1 : 0;
        Opened += what.Kind == RepairKind.Open ? 1 : 0;
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

    private sealed class Best
    {
        public Replacement? What { get; set; }

        public int Gain { get; set; }
    }
}
