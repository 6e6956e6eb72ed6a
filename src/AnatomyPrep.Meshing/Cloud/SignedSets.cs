namespace AnatomyPrep.Meshing.Cloud;

/// <summary>Sets of points that are joined step by step, each point with a sign relative to its set.</summary>
/// <remarks>Union by size with path halving (Tarjan and van Leeuwen 1984), the sign carried along each link.</remarks>
internal sealed class SignedSets
{
    // Parent, with the sign relative to it in the lowest bit.
    private readonly int[] _link;
    private readonly int[] _size;

    internal SignedSets(int count)
    {
        _link = new int[count];
        _size = new int[count];
        for (var i = 0; i < count; i++)
            (_link[i], _size[i]) = (i << 1, 1);
    }

    /// <summary>Most members that can be told apart.</summary>
    internal const int Most = int.MaxValue / 2;

    internal int Size(int root) => _size[root];

    /// <summary>The set's representative, and whether the point is turned against it.</summary>
    internal (int Root, bool Turned) Find(int i)
    {
        var sign = 0;
        while (true)
        {
            var link = _link[i];
            var parent = link >> 1;
            if (parent == i)
                return (i, sign != 0);
            var above = _link[parent];
            if (above >> 1 != parent)
            {
                // Halving: straight to the grandparent, with both signs.
                link = above ^ (link & 1);
                _link[i] = link;
            }

            sign ^= link & 1;
            i = link >> 1;
        }
    }

    /// <summary>Joins the sets of two points that are alike or turned against each other; false when they are one already.</summary>
    internal bool Join(int i, int j, bool turned)
    {
        var (a, signA) = Find(i);
        var (b, signB) = Find(j);
        if (a == b)
            return false;
        if (_size[a] < _size[b] || (_size[a] == _size[b] && b < a))
            (a, b) = (b, a);
        _link[b] = (a << 1) | (signA ^ signB ^ turned ? 1 : 0);
        _size[a] += _size[b];
        return true;
    }
}
