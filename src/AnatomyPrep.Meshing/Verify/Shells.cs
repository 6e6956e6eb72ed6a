using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>One connected part of a mesh.</summary>
/// <param name="FirstTriangle">Its lowest triangle.</param>
/// <param name="Closed">Every edge has an even number of triangles, so that it parts inside from outside.</param>
/// <param name="SignedVolumeMm3">About the centre of its own bounds; for an open part only the sign says something.</param>
/// <param name="Depth">In how many closed parts it lies.</param>
/// <param name="Outward">
/// Its triangles face away from the material: a part that lies in an even number of others encloses material, so its volume
/// must be positive, one in an odd number bounds a cavity, so it must be negative. An open part is outward unless its volume
/// is clearly negative.
/// </param>
public sealed record Shell(
    int FirstTriangle, int Triangles, bool Closed, double SignedVolumeMm3, double AreaMm2, Box3 BoundsMm, int Depth, bool Outward);

/// <summary>Connected parts of a mesh and how they lie in each other.</summary>
/// <remarks>
/// Parts by union-find over shared vertices (R. E. Tarjan, "Efficiency of a good but not linear set union algorithm", J. ACM 22
///   (1975)), numbered by their first triangle. Nesting: <see cref="ShellNesting"/>.
/// Parts that cross or lie on each other are in none of each other, when the pairs that say so are given.
/// Triangles with a repeated corner belong to no part.
/// Cost: O(triangles) and a few rays for each part when there is more than one. Memory: 4 bytes a vertex and a triangle.
/// </remarks>
public sealed class Shells
{
    /// <summary>Below this share of area times diagonal a volume is rounding (closed) or flatness (open).</summary>
    private const double NoVolume = 1e-12;
    private const double FlatSheet = 1e-6;

    private readonly int[] _ofTriangle;

    private Shells(int[] ofTriangle, IReadOnlyList<Shell> all)
    {
        _ofTriangle = ofTriangle;
        All = all;
    }

    public IReadOnlyList<Shell> All { get; }

    /// <summary>Index of the part of each triangle, −1 for a triangle with a repeated corner.</summary>
    public ReadOnlySpan<int> OfTriangle => _ofTriangle;

    /// <param name="tree">Of the same mesh.</param>
    /// <param name="edges">Of the same mesh.</param>
    /// <param name="pairs">From <see cref="SelfIntersections"/> of the same mesh.</param>
    public static Shells Measure(TriangleTree tree, EdgeTable edges, IntersectingPairs pairs, RunContext run)
    {
        var mesh = tree.Mesh;
        var (ofTriangle, count) = Label(mesh, run);
        var sums = Sum(mesh, edges, ofTriangle, count, run);
        var around = ShellNesting.Containers(tree, ofTriangle, Array.ConvertAll(sums, s => !s.Open), run);
        var crossing = CrossingParts(pairs, ofTriangle);
        var depths = new int[count];
        for (var shell = 0; shell < count; shell++)
            depths[shell] = around[shell].Count(other => !crossing.Contains((shell, other)));
        return new(ofTriangle, [.. sums.Select((s, i) => s.ToShell(mesh, depths[i]))]);
    }

    private static HashSet<(int, int)> CrossingParts(IntersectingPairs pairs, int[] ofTriangle)
    {
        var crossing = new HashSet<(int, int)>();
        foreach (var pair in pairs.Pairs)
        {
            int a = ofTriangle[pair.First], b = ofTriangle[pair.Second];
            if (a == b || pair.Contact == Contact.Touching)
                continue;
            crossing.Add((a, b));
            crossing.Add((b, a));
        }

        return crossing;
    }

    private static (int[] OfTriangle, int Count) Label(Mesh mesh, RunContext run)
    {
        var parent = new int[mesh.VertexCount];
        for (var v = 0; v < parent.Length; v++)
            parent[v] = v;
        var triangles = mesh.TriangleArray;
        var ofTriangle = new int[mesh.TriangleCount];
        for (var t = 0; t < ofTriangle.Length; t++)
        {
            if ((t & 0xFFFF) == 0)
                run.ThrowIfCancelled();
            int a = triangles[3 * t], b = triangles[(3 * t) + 1], c = triangles[(3 * t) + 2];
            if (a == b || b == c || c == a)
            {
                ofTriangle[t] = -1;
                continue;
            }

            Join(parent, a, b);
            Join(parent, a, c);
        }

        var numbers = new int[parent.Length];
        var count = 0;
        for (var t = 0; t < ofTriangle.Length; t++)
        {
            if (ofTriangle[t] < 0)
                continue;
            ref var number = ref numbers[Root(parent, triangles[3 * t])];
            if (number == 0)
                number = ++count;
            ofTriangle[t] = number - 1;
        }

        return (ofTriangle, count);
    }

    private static void Join(int[] parent, int a, int b)
    {
        int x = Root(parent, a), y = Root(parent, b);
        if (x != y)
            parent[Math.Max(x, y)] = Math.Min(x, y);
    }

    private static int Root(int[] parent, int v)
    {
        while (parent[v] != v)
            v = parent[v] = parent[parent[v]];
        return v;
    }

    private static ShellSum[] Sum(Mesh mesh, EdgeTable edges, int[] ofTriangle, int count, RunContext run)
    {
        var sums = new ShellSum[count];
        for (var t = ofTriangle.Length - 1; t >= 0; t--)
        {
            if (ofTriangle[t] < 0)
                continue;
            ref var sum = ref sums[ofTriangle[t]];
            var (a, b, c) = mesh.Triangle(t);
            sum.First = t;
            sum.Bounds = (sum.Triangles++ == 0 ? Box3.Empty : sum.Bounds)
                .Including(mesh.Local(a)).Including(mesh.Local(b)).Including(mesh.Local(c));
        }

        run.ThrowIfCancelled();
        var shared = new List<long>();
        for (var t = 0; t < ofTriangle.Length; t++)
        {
            if (ofTriangle[t] < 0)
                continue;
            ref var sum = ref sums[ofTriangle[t]];
            var (a, b, c) = mesh.Triangle(t);
            var center = sum.Bounds.Center;
            Vec3 p = mesh.Local(a) - center, q = mesh.Local(b) - center, r = mesh.Local(c) - center;
            sum.Volume += Vec3.Dot(p, Vec3.Cross(q, r)) / 6;
            sum.Area += Vec3.Cross(q - p, r - p).Length / 2;
            for (var h = 3 * t; h < (3 * t) + 3; h++)
            {
                sum.Open |= edges.Opposite[h] == EdgeTable.Boundary;
                if (edges.Opposite[h] == EdgeTable.NonManifold)
                    shared.Add(EdgeKey(mesh, h));
            }
        }

        OpenWhereOdd(mesh, ofTriangle, sums, shared);
        return sums;
    }

    /// <summary>An edge with three, five, … triangles leaves a gap in the wall between inside and outside.</summary>
    private static void OpenWhereOdd(Mesh mesh, int[] ofTriangle, ShellSum[] sums, List<long> shared)
    {
        if (shared.Count == 0)
            return;
        shared.Sort();
        var odd = new HashSet<int>();
        for (var i = 0; i < shared.Count;)
        {
            var j = i;
            while (j < shared.Count && shared[j] == shared[i])
                j++;
            if (((j - i) & 1) == 1)
                odd.Add((int)(shared[i] >> 32));
            i = j;
        }

        for (var t = 0; t < ofTriangle.Length && odd.Count > 0; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            if (ofTriangle[t] >= 0 && (odd.Contains(a) || odd.Contains(b) || odd.Contains(c)))
                sums[ofTriangle[t]].Open = true;
        }
    }

    private static long EdgeKey(Mesh mesh, int halfEdge)
    {
        int u = mesh.Triangles[halfEdge], v = mesh.Triangles[EdgeTable.Next(halfEdge)];
        return ((long)Math.Min(u, v) << 32) | (uint)Math.Max(u, v);
    }

    internal struct ShellSum
    {
        public int First;
        public int Triangles;
        public bool Open;
        public double Volume;
        public double Area;
        public Box3 Bounds;

        internal readonly Shell ToShell(Mesh mesh, int depth)
        {
            var scale = Area * Bounds.Diagonal;
            var wanted = depth % 2 == 0 ? Volume : -Volume;
            var outward = Open ? Volume >= -FlatSheet * scale : wanted > NoVolume * scale;
            var bounds = new Box3(Bounds.Min + mesh.OriginMm, Bounds.Max + mesh.OriginMm);
            return new(First, Triangles, !Open, Volume, Area, bounds, depth, outward);
        }
    }
}
