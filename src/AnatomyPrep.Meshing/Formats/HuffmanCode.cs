namespace AnatomyPrep.Meshing.Formats;

/// <summary>Prefix codes as Deflate wants them: a length for every symbol that occurs, codes in the order of the lengths.</summary>
/// <remarks>Ties are broken by symbol number, so the lengths depend on the counts alone.</remarks>
internal static class HuffmanCode
{
    private const int SymbolBits = 10;

    /// <summary>Code lengths for the counts, none above <paramref name="longest"/>; 0 for symbols that do not occur.</summary>
    internal static void Lengths(ReadOnlySpan<int> counts, int longest, Span<byte> lengths)
    {
        lengths.Clear();
        var used = 0;
        // Count above the symbol in one number, so that sorting breaks ties by symbol.
        Span<long> leaves = stackalloc long[counts.Length];
        for (var symbol = 0; symbol < counts.Length; symbol++)
            if (counts[symbol] > 0)
                leaves[used++] = ((long)counts[symbol] << SymbolBits) | (uint)symbol;
        leaves = leaves[..used];
        if (used == 0)
            return;
        if (used == 1)
        {
            // One bit, so that there is a code at all; the other bit stays unused, which RFC 1951 allows.
            lengths[Symbol(leaves[0])] = 1;
            return;
        }

        // Halving brings the counts closer together, and so the lengths, until the longest fits.
        while (Build(leaves, lengths) > longest)
            foreach (ref var leaf in leaves)
                leaf = ((long)((Count(leaf) + 1) / 2) << SymbolBits) | (uint)Symbol(leaf);
    }

    /// <summary>The code of each symbol, its bits in the order in which Deflate sends them.</summary>
    internal static void Codes(ReadOnlySpan<byte> lengths, Span<ushort> codes)
    {
        Span<int> next = stackalloc int[17];
        foreach (var length in lengths)
            if (length > 0)
                next[length + 1]++;
        for (var length = 1; length < next.Length; length++)
            next[length] = (next[length - 1] + next[length]) << 1;
        for (var symbol = 0; symbol < lengths.Length; symbol++)
            if (lengths[symbol] > 0)
                codes[symbol] = Reversed(next[lengths[symbol]]++, lengths[symbol]);
    }

    private static int Count(long leaf) => (int)(leaf >> SymbolBits);

    private static int Symbol(long leaf) => (int)leaf & ((1 << SymbolBits) - 1);

    // Two queues: leaves by count, and inner nodes in the order they are made, which is by count too.
    private static int Build(Span<long> leaves, Span<byte> lengths)
    {
        leaves.Sort();
        var inner = leaves.Length - 1;
        Span<int> sums = stackalloc int[inner];
        Span<int> leafParent = stackalloc int[leaves.Length];
        Span<int> innerParent = stackalloc int[inner];
        int leaf = 0, node = 0;
        for (var made = 0; made < inner; made++)
        {
            sums[made] = 0;
            for (var child = 0; child < 2; child++)
            {
                if (node >= made || (leaf < leaves.Length && Count(leaves[leaf]) <= sums[node]))
                {
                    sums[made] += Count(leaves[leaf]);
                    leafParent[leaf++] = made;
                }
                else
                {
                    sums[made] += sums[node];
                    innerParent[node++] = made;
                }
            }
        }

        Span<int> depth = stackalloc int[inner];
        depth[inner - 1] = 0;
        for (var i = inner - 2; i >= 0; i--)
            depth[i] = depth[innerParent[i]] + 1;
        var deepest = 0;
        for (var i = 0; i < leaves.Length; i++)
        {
            var length = depth[leafParent[i]] + 1;
            deepest = Math.Max(deepest, length);
            lengths[Symbol(leaves[i])] = (byte)length;
        }

        return deepest;
    }

    private static ushort Reversed(int code, int length)
    {
        var reversed = 0;
        for (var bit = 0; bit < length; bit++)
            reversed |= ((code >> bit) & 1) << (length - 1 - bit);
        return (ushort)reversed;
    }
}
