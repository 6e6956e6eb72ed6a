namespace AnatomyPrep.Meshing.Surface;

/// <summary>How the surface passes through a cell, for each of the 256 patterns of inside and outside corners.</summary>
/// <remarks>
/// Derived here rather than copied from a printed table. Corner c = dx + 2·dy + 4·dz; edges 0-3 run along x (at dy + 2·dz),
///   4-7 along y (at dx + 2·dz), 8-11 along z (at dx + 2·dy).
/// On every face the crossed edges are joined pairwise; where all four are crossed (the ambiguous face) each inside corner is
///   cut off on its own. Both cells beside a face apply the same rule to the same four signs, so the loops of
///   neighbours share their segments and the surface has no cracks: the consistent choice that Nielson and Hamann, "The
///   asymptotic decider", IEEE Visualization 1991, show to be missing from the first published table. Each loop is one disc,
///   a fan around one of its edges, chosen so that no diagonal joins two edges of one ambiguous face, because the neighbour
///   could use that diagonal too. Every grid-edge vertex is then ringed by exactly one fan: the surface is a closed, oriented
///   2-manifold for any input. The triangles of a fan never cross: docs/methods/surface.md.
/// Triangles are counter-clockwise seen from outside.
/// </remarks>
internal static class CellCases
{
    /// <summary>Most triangles in one cell.</summary>
    public const int MaxTriangles = 5;

    // For each pattern the edges, as bits of three hex digits, that a fan is drawn around where there is a choice. Any choice is
    // right; this one was read off the output of the general library that results are compared with, pattern by pattern, so that
    // the same triangles come out and areas can be compared to the last digits. 000 leaves the choice to Triangulate.
    private const string UsualApexes =
        "000000000120000401000400000000202100810800200900000014000020000004000000000014202000810000400400" +
        "000000081080000401081000000000002000810100000100240010040090240000020020240080000080990001001480" +
        "000000000120042001042000000000202800040000000800108008108000002006004004108001606010000001010804" +
        "000000081010042008099100000000004000020000800800200000000010000008100028400000080010008001000000" +
        "000000000120000401000200028028008000010000000200000014000040000002000000028096001200080400000200" +
        "804804001000804906008020004002006002000020008108800000000040100040000020000200001042008000001000" +
        "480480480960080000010002020040000002090040010240100000800004000002000002000400080000080081080000" +
        "400200000004000040800000000000004004020020014000900200800810100202100000400200401000120000000000";

    private const int Stride = (3 * MaxTriangles) + 1;

    /// <summary>Corners at the two ends of each edge, the lower first.</summary>
    public static readonly (int From, int To)[] Edges = MakeEdges();

    /// <summary>Number of triangles of each pattern.</summary>
    public static readonly byte[] TriangleCounts = new byte[256];

    // Sixteen bytes a pattern: edges of up to five triangles, three by three.
    private static readonly byte[] s_triangles = Fill();

    /// <summary>Edge numbers of the triangles of a pattern, three by three.</summary>
    public static ReadOnlySpan<byte> Triangles(int pattern) => s_triangles.AsSpan(pattern * Stride, 3 * TriangleCounts[pattern]);

    /// <summary>Start of a pattern's edge numbers, for inner loops.</summary>
    public static ref byte FirstEdge(int pattern) => ref s_triangles[pattern * Stride];

    /// <summary>The six faces as corner rings, counter-clockwise seen from outside the cell.</summary>
    internal static int[][] FaceRings()
    {
        var rings = new List<int[]>();
        for (var axis = 0; axis < 3; axis++)
        {
            int u = 1 << ((axis + 1) % 3), v = 1 << ((axis + 2) % 3), w = 1 << axis;
            rings.Add([0, v, u + v, u]);
            rings.Add([w, w + u, w + u + v, w + v]);
        }

        return [.. rings];
    }

    /// <summary>Loops of crossed edges of a pattern, and the edge sets of its ambiguous faces.</summary>
    internal static (List<List<int>> Loops, List<HashSet<int>> Ambiguous) Loops(int pattern)
    {
        var follows = new SortedDictionary<int, int>();
        var ambiguous = new List<HashSet<int>>();
        foreach (var ring in FaceRings())
        {
            bool Inside(int m) => ((pattern >> ring[m & 3]) & 1) != 0;
            int EdgeAfter(int m) => EdgeBetween(ring[m & 3], ring[(m + 1) & 3]);
            var entries = 0;
            for (var m = 0; m < 4; m++)
            {
                if (Inside(m) || !Inside(m + 1))
                    continue;
                entries++;
                var exit = m + 1;
                while (Inside(exit + 1))
                    exit++;
                follows[EdgeAfter(m)] = EdgeAfter(exit);
            }

            if (entries == 2)
                ambiguous.Add([EdgeAfter(0), EdgeAfter(1), EdgeAfter(2), EdgeAfter(3)]);
        }

        var loops = new List<List<int>>();
        var seen = new HashSet<int>();
        foreach (var first in follows.Keys)
        {
            var loop = new List<int>();
            for (var edge = first; seen.Add(edge); edge = follows[edge])
                loop.Add(edge);
            if (loop.Count > 0)
                loops.Add(loop);
        }

        return (loops, ambiguous);
    }

    private static (int From, int To)[] MakeEdges()
    {
        var edges = new List<(int, int)>();
        for (var axis = 0; axis < 3; axis++)
            for (var corner = 0; corner < 8; corner++)
                if ((corner & (1 << axis)) == 0)
                    edges.Add((corner, corner | (1 << axis)));
        return [.. edges];
    }

    private static int EdgeBetween(int a, int b) => Array.IndexOf(Edges, (Math.Min(a, b), Math.Max(a, b)));

    private static byte[] Fill()
    {
        var table = new byte[256 * Stride];
        for (var pattern = 0; pattern < 256; pattern++)
        {
            var (loops, ambiguous) = Loops(pattern);
            var at = pattern * Stride;
            foreach (var loop in loops)
            {
                foreach (var corner in Triangulate(loop, ambiguous, UsualApex(pattern)))
                    table[at++] = (byte)corner;
            }

            TriangleCounts[pattern] = (byte)((at - (pattern * Stride)) / 3);
        }

        return table;
    }

    private static int UsualApex(int pattern) => Convert.ToInt32(UsualApexes.Substring(3 * pattern, 3), 16);

    // A fan around an edge that has no forbidden diagonal, a usual one first; every loop of every pattern has one.
    private static List<int> Triangulate(List<int> loop, List<HashSet<int>> ambiguous, int usual)
    {
        var apex = Enumerable.Range(0, loop.Count)
            .Where(a => !HasForbiddenDiagonal(loop, a, ambiguous))
            .OrderByDescending(a => (usual >> loop[a]) & 1)
            .First();
        var corners = new List<int>();
        for (var i = 1; i + 1 < loop.Count; i++)
            corners.AddRange([loop[apex], loop[(apex + i) % loop.Count], loop[(apex + i + 1) % loop.Count]]);
        return corners;
    }

    private static bool HasForbiddenDiagonal(List<int> loop, int apex, List<HashSet<int>> ambiguous)
    {
        for (var i = 2; i + 1 < loop.Count; i++)
        {
            var end = loop[(apex + i) % loop.Count];
            if (ambiguous.Exists(face => face.Contains(loop[apex]) && face.Contains(end)))
                return true;
        }

        return false;
    }
}
