using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>A symmetric positive definite matrix with a fixed pattern, its fill-reducing order and its Cholesky factor.</summary>
/// <remarks>
/// Factor: up-looking sparse Cholesky on the elimination tree (Liu 1990; Davis, "Direct Methods for Sparse Linear
/// Systems", 2006, chapter 4). Order: nested dissection (George 1973) by the positions of the unknowns: halve along
/// the longest side of the bounds, the separator (vertices of the first half joined to the second) last; a sheet of n
/// unknowns then fills O(n log n). Sums run in a fixed order on one thread: the same bits everywhere.
/// The pattern is analysed once; values may be set and factored again any number of times.
/// </remarks>
internal sealed unsafe class SymmetricMatrix
{
    private const int LeafSize = 32;
    private const double SmallestPivotShare = 1e-14;

    private readonly int[] _order;
    private readonly int[] _rank;

    // Upper triangle by columns of the permuted matrix: rows up to and including the diagonal.
    private readonly int[] _start;
    private readonly int[] _row;
    private readonly double[] _value;

    private readonly int[] _parent;
    private readonly int[] _factorStart;
    private readonly int[] _factorRow;
    private readonly double[] _factor;

    /// <param name="neighbours">Per unknown: the others it is coupled to, each once; must be symmetric.</param>
    public SymmetricMatrix(int[][] neighbours, Vec3[] positions)
    {
        Size = neighbours.Length;
        _order = Dissect(neighbours, positions);
        _rank = new int[Size];
        for (var i = 0; i < Size; i++)
            _rank[_order[i]] = i;
        _start = new int[Size + 1];
        for (var i = 0; i < Size; i++)
        {
            var entries = 1;
            foreach (var n in neighbours[_order[i]])
                entries += _rank[n] < i ? 1 : 0;
            _start[i + 1] = _start[i] + entries;
        }

        _row = new int[_start[Size]];
        _value = new double[_row.Length];
        for (var i = 0; i < Size; i++)
        {
            var at = _start[i];
            foreach (var n in neighbours[_order[i]])
                if (_rank[n] < i)
                    _row[at++] = _rank[n];
            _row[at++] = i;
            Array.Sort(_row, _start[i], at - _start[i]);
        }

        _parent = EliminationTree();
        _factorStart = CountFactor();
        _factorRow = new int[_factorStart[Size]];
        _factor = new double[_factorRow.Length];
    }

    public int Size { get; }

    /// <summary>Entries of the factor; its memory is 12 bytes each.</summary>
    public int FactorEntries => _factorRow.Length;

    public void Clear() => Array.Clear(_value);

    /// <summary>Adds to entry (i, j) and its mirror; the pair must be in the pattern.</summary>
    public void Add(int i, int j, double value)
    {
        var (row, column) = _rank[i] < _rank[j] ? (_rank[i], _rank[j]) : (_rank[j], _rank[i]);
        var at = Array.BinarySearch(_row, _start[column], _start[column + 1] - _start[column], row);
        _value[at] += value;
    }

    /// <returns>False when a pivot is not positive: the matrix is singular to rounding.</returns>
    public bool Factor()
    {
        var work = new double[Size];
        var stack = new int[Size];
        var mark = new int[Size];
        Array.Fill(mark, -1);
        var next = _factorStart.AsSpan(0, Size).ToArray();
        fixed (double* x = work, factor = _factor)
        fixed (int* rows = _factorRow)
        {
            for (var k = 0; k < Size; k++)
            {
                var top = Reach(k, stack, mark);
                for (var p = _start[k]; p < _start[k + 1]; p++)
                    x[_row[p]] = _value[p];
                var (pivot, scale) = (x[k], x[k]);
                x[k] = 0;
                for (; top < Size; top++)
                {
                    var i = stack[top];
                    var end = next[i];
                    var l = x[i] / factor[_factorStart[i]];
                    x[i] = 0;
                    for (var p = _factorStart[i] + 1; p < end; p++)
                        x[rows[p]] -= factor[p] * l;
                    pivot -= l * l;
                    rows[end] = k;
                    factor[end] = l;
                    next[i] = end + 1;
                }

                if (!(pivot > scale * SmallestPivotShare))
                    return false;
                rows[next[k]] = k;
                factor[next[k]++] = Math.Sqrt(pivot);
            }
        }

        return true;
    }

    /// <summary>Solves for three right-hand sides at once, in place.</summary>
    public void Solve(Vec3[] b)
    {
        var solution = new Vec3[Size];
        for (var i = 0; i < Size; i++)
            solution[i] = b[_order[i]];
        fixed (Vec3* x = solution)
        fixed (double* factor = _factor)
        fixed (int* rows = _factorRow)
        {
            for (var j = 0; j < Size; j++)
            {
                var xj = x[j] / factor[_factorStart[j]];
                x[j] = xj;
                for (var p = _factorStart[j] + 1; p < _factorStart[j + 1]; p++)
                    x[rows[p]] -= xj * factor[p];
            }

            for (var j = Size - 1; j >= 0; j--)
            {
                var sum = x[j];
                for (var p = _factorStart[j] + 1; p < _factorStart[j + 1]; p++)
                    sum -= x[rows[p]] * factor[p];
                x[j] = sum / factor[_factorStart[j]];
            }
        }

        for (var i = 0; i < Size; i++)
            b[_order[i]] = solution[i];
    }

    private int[] EliminationTree()
    {
        var parent = new int[Size];
        var ancestor = new int[Size];
        for (var k = 0; k < Size; k++)
        {
            parent[k] = ancestor[k] = -1;
            for (var p = _start[k]; p < _start[k + 1]; p++)
            {
                for (var i = _row[p]; i >= 0 && i < k;)
                {
                    var up = ancestor[i];
                    ancestor[i] = k;
                    if (up < 0)
                        parent[i] = k;
                    i = up;
                }
            }
        }

        return parent;
    }

    private int[] CountFactor()
    {
        var count = new int[Size];
        var stack = new int[Size];
        var mark = new int[Size];
        Array.Fill(mark, -1);
        for (var k = 0; k < Size; k++)
        {
            count[k]++;
            for (var top = Reach(k, stack, mark); top < Size; top++)
                count[stack[top]]++;
        }

        var start = new int[Size + 1];
        for (var k = 0; k < Size; k++)
            start[k + 1] = checked(start[k] + count[k]);
        return start;
    }

    // Columns that row k of the factor touches, in topological order, at stack[top ...].
    private int Reach(int k, int[] stack, int[] mark)
    {
        var top = Size;
        mark[k] = k;
        for (var p = _start[k]; p < _start[k + 1]; p++)
        {
            var length = 0;
            for (var i = _row[p]; mark[i] != k; i = _parent[i])
            {
                stack[length++] = i;
                mark[i] = k;
            }

            while (length > 0)
                stack[--top] = stack[--length];
        }

        return top;
    }

    private static int[] Dissect(int[][] neighbours, Vec3[] positions)
    {
        var order = new List<int>(neighbours.Length);
        var side = new byte[neighbours.Length];
        DissectInto([.. Enumerable.Range(0, neighbours.Length)], neighbours, positions, side, order);
        return [.. order];
    }

    private static void DissectInto(int[] set, int[][] neighbours, Vec3[] positions, byte[] side, List<int> order)
    {
        if (set.Length <= LeafSize)
        {
            order.AddRange(set);
            return;
        }

        var box = Box3.Empty;
        foreach (var v in set)
            box = box.Including(positions[v]);
        var axis = box.Size.X >= box.Size.Y && box.Size.X >= box.Size.Z ? 0 : box.Size.Y >= box.Size.Z ? 1 : 2;
        Array.Sort(set, (a, b) => (positions[a][axis], a).CompareTo((positions[b][axis], b)));
        var half = set.Length / 2;
        for (var i = 0; i < set.Length; i++)
            side[set[i]] = i < half ? (byte)1 : (byte)2;
        List<int> first = [], separator = [];
        foreach (var v in set[..half])
            (Touches(neighbours[v], side, 2) ? separator : first).Add(v);
        var second = set[half..];
        foreach (var v in set)
            side[v] = 0;
        // A set that hangs together too tightly to be parted is taken as it is.
        if (first.Count == 0)
        {
            order.AddRange(set);
            return;
        }

        DissectInto([.. first], neighbours, positions, side, order);
        DissectInto(second, neighbours, positions, side, order);
        order.AddRange(separator);
    }

    private static bool Touches(int[] neighbours, byte[] side, byte wanted)
    {
        foreach (var n in neighbours)
            if (side[n] == wanted)
                return true;
        return false;
    }
}
