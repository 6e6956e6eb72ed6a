using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>
/// The movable vertices and their neighbours, laid out for averaging: in chunks of 4096 vertices, and
/// within a chunk by number of neighbours, so that the inner loop has a constant length and reads memory in order.
/// </summary>
/// <remarks>
/// Shapes: Order int32[movable]; Neighbours int32, Degree entries for each vertex of a group in turn.
/// Extra memory about 4 bytes a vertex and 12 a triangle. Results do not depend on the layout: every vertex is averaged
/// from the previous pass (Jacobi), neighbours in the order of <see cref="VertexRings"/>.
/// </remarks>
internal sealed class GroupedRings
{
    private const int Chunk = 4096;
    private const int TableDegrees = 24;

    private GroupedRings(int[] order, int[] neighbours, Group[][] chunks)
    {
        Order = order;
        Neighbours = neighbours;
        Chunks = chunks;
    }

    internal int[] Order { get; }

    internal int[] Neighbours { get; }

    internal Group[][] Chunks { get; }

    internal static GroupedRings Build(VertexRings rings, IrregularRings irregular, bool[] pinned, RunContext run)
    {
        var lists = new Lists(rings, irregular, pinned);
        var vertices = pinned.Length;
        var chunks = Partition.Pieces(vertices, Chunk);
        var (orderStart, listStart) = (new int[chunks + 1], new int[chunks + 1]);
        Partition.Ranges(run, vertices, Chunk, (c, from, to) =>
        {
            for (var v = from; v < to; v++)
            {
                var degree = lists.Degree(v);
                if (degree == 0)
                    continue;
                orderStart[c + 1]++;
                listStart[c + 1] += degree;
            }
        });
        for (var c = 0; c < chunks; c++)
        {
            orderStart[c + 1] += orderStart[c];
            listStart[c + 1] += listStart[c];
        }

        var grouped = new GroupedRings(new int[orderStart[chunks]], new int[listStart[chunks]], new Group[chunks][]);
        Partition.Ranges(run, vertices, Chunk, (c, from, to) =>
            grouped.Chunks[c] = grouped.Fill(lists, from, to, orderStart[c], listStart[c]));
        return grouped;
    }

    private Group[] Fill(Lists lists, int from, int to, int orderAt, int listAt)
    {
        // Counting sort by degree. Vertices beyond the table are rare and get a group each.
        Span<int> count = stackalloc int[TableDegrees];
        for (var v = from; v < to; v++)
            if (lists.Degree(v) is > 0 and < TableDegrees and var degree)
                count[degree]++;
        Span<int> order = stackalloc int[TableDegrees];
        Span<int> list = stackalloc int[TableDegrees];
        var groups = new List<Group>();
        for (var degree = 1; degree < TableDegrees; degree++)
        {
            if (count[degree] == 0)
                continue;
            (order[degree], list[degree]) = (orderAt, listAt);
            groups.Add(new(degree, orderAt, count[degree], listAt));
            orderAt += count[degree];
            listAt += count[degree] * degree;
        }

        for (var v = from; v < to; v++)
        {
            var degree = lists.Degree(v);
            if (degree >= TableDegrees)
            {
                groups.Add(new(degree, orderAt, 1, listAt));
                Order[orderAt++] = v;
                lists.Copy(v, Neighbours.AsSpan(listAt, degree));
                listAt += degree;
            }
            else if (degree > 0)
            {
                Order[order[degree]++] = v;
                lists.Copy(v, Neighbours.AsSpan(list[degree], degree));
                list[degree] += degree;
            }
        }

        return [.. groups];
    }

    /// <summary>Count vertices of one degree: Order[First …], their neighbours from Neighbours[List] on.</summary>
    internal readonly record struct Group(int Degree, int First, int Count, int List);

    /// <summary>Which neighbours count: all at a regular vertex, those along the border on a border, none at a pinned one.</summary>
    private sealed class Lists(VertexRings rings, IrregularRings irregular, bool[] pinned)
    {
        private readonly Dictionary<int, int[]> _irregular = Along(irregular);

        internal int Degree(int v) =>
            pinned[v] ? 0 : rings.IsIrregular[v] ? _irregular[v].Length : rings.Start[v + 1] - rings.Start[v];

        internal void Copy(int v, Span<int> to)
        {
            if (rings.IsIrregular[v])
                _irregular[v].CopyTo(to);
            else
                rings.Neighbours.AsSpan(rings.Start[v], to.Length).CopyTo(to);
        }

        private static Dictionary<int, int[]> Along(IrregularRings irregular)
        {
            var lists = new Dictionary<int, int[]>(irregular.Vertices.Length);
            for (var i = 0; i < irregular.Vertices.Length; i++)
            {
                var border = irregular.OnBorder(i);
                var list = new List<int>();
                foreach (var (w, triangles) in irregular.Ring(i))
                    if (!border || triangles == 1)
                        list.Add(w);
                lists[irregular.Vertices[i]] = [.. list];
            }

            return lists;
        }
    }
}
