namespace AnatomyPrep.Core.Volumes;

/// <summary>A level in HU for every sample of a volume, held at nodes some samples apart and trilinear between them.</summary>
/// <remarks>
/// Node (a, b, c) lies on sample (a·s, b·s, c·t), s the step within a slice and t that between slices; the last node of an
/// axis lies on or beyond the last sample. Rounded to whole HU, so that "in the region" and "where the boundary lies" use the
/// same number. Memory: 2 bytes a node.
/// </remarks>
public sealed class LevelField
{
    private readonly short[] _nodesHu;
    private readonly int _nodeColumns;
    private readonly int _nodeRows;

    /// <param name="nodesHu">Nodes, column fastest; <see cref="NodesAlong"/> says how many an axis has.</param>
    public LevelField(int columns, int rows, int slices, int step, int sliceStep, short[] nodesHu)
    {
        ArgumentOutOfRangeException.ThrowIfLessThan(step, 1);
        ArgumentOutOfRangeException.ThrowIfLessThan(sliceStep, 1);
        (Columns, Rows, Slices, Step, SliceStep) = (columns, rows, slices, step, sliceStep);
        _nodeColumns = NodesAlong(columns, step);
        _nodeRows = NodesAlong(rows, step);
        if (nodesHu.LongLength != (long)_nodeColumns * _nodeRows * NodesAlong(slices, sliceStep))
            throw new ArgumentException("The number of nodes does not fit the size and the step.", nameof(nodesHu));
        _nodesHu = nodesHu;
    }

    public int Columns { get; }

    public int Rows { get; }

    public int Slices { get; }

    public int Step { get; }

    public int SliceStep { get; }

    public short this[int column, int row, int slice]
    {
        get
        {
            var (i, x) = Between(column, Step, _nodeColumns);
            double low = AcrossRows(i, row, slice), high = AcrossRows(i + 1, row, slice);
            return (short)Math.Round(low + ((high - low) * x));
        }
    }

    public static int NodesAlong(int samples, int step) => ((samples - 1 + step - 1) / step) + 1;

    /// <summary>The levels of one row of samples.</summary>
    public void Row(int row, int slice, Span<short> levelsHu)
    {
        double low = AcrossRows(0, row, slice), high = low;
        for (var column = 0; column < levelsHu.Length; column++)
        {
            var (i, x) = Between(column, Step, _nodeColumns);
            if (column % Step == 0)
                (low, high) = (AcrossRows(i, row, slice), AcrossRows(i + 1, row, slice));
            levelsHu[column] = (short)Math.Round(low + ((high - low) * x));
        }
    }

    // The nearest node at or below, and how far on towards the next one.
    private static (int Node, double Share) Between(int sample, int step, int nodes)
    {
        var node = sample / step;
        return node + 1 < nodes ? (node, (sample - (node * step)) / (double)step) : (node, 0);
    }

    // Along a column of nodes: between two rows, then between two slices. Beyond the last node nothing is asked for.
    private double AcrossRows(int nodeColumn, int row, int slice)
    {
        nodeColumn = Math.Min(nodeColumn, _nodeColumns - 1);
        var (k, z) = Between(slice, SliceStep, NodesAlong(Slices, SliceStep));
        var near = InSlice(nodeColumn, row, k);
        return z == 0 ? near : near + ((InSlice(nodeColumn, row, k + 1) - near) * z);
    }

    private double InSlice(int nodeColumn, int row, int nodeSlice)
    {
        var (j, y) = Between(row, Step, _nodeRows);
        double near = Node(nodeColumn, j, nodeSlice);
        return y == 0 ? near : near + ((Node(nodeColumn, j + 1, nodeSlice) - near) * y);
    }

    private short Node(int a, int b, int c) => _nodesHu[(((c * _nodeRows) + b) * _nodeColumns) + a];
}
