namespace AnatomyPrep.Meshing.Spatial;

/// <summary>Place of a cell of a cubic grid along a curve that visits every cell and steps only to neighbours.</summary>
/// <remarks>
/// Method: C. H. Hamilton, "Compact Hilbert Indices", Dalhousie University CS-2006-07 (2006), algorithm 2 in three dimensions.
///   Its state, entry corner and direction (24 values), is turned into a table once; two levels of the curve are read per look-up.
/// Cells near on the curve are near in space, so runs of it make compact boxes.
/// </remarks>
internal static class HilbertCurve
{
    /// <summary>Most levels that fit an index into 60 bits.</summary>
    internal const int MostLevels = 20;

    private const int States = 24;

    // Entry [state * 64 + (x << 4 | y << 2 | z)], two bits an axis: six bits of index, then the next state.
    private static readonly ushort[] s_twoLevels = TwoLevels();

    /// <summary>Index in 0 … 8^levels − 1 of cell x, y, z, each below 2^levels; levels even.</summary>
    internal static ulong Index(uint x, uint y, uint z, int levels)
    {
        ulong index = 0;
        var state = 0;
        for (var shift = levels - 2; shift >= 0; shift -= 2)
        {
            var cell = (((x >> shift) & 3) << 4) | (((y >> shift) & 3) << 2) | ((z >> shift) & 3);
            int entry = s_twoLevels[(state * 64) + (int)cell];
            index = (index << 6) | (uint)(entry & 63);
            state = entry >> 6;
        }

        return index;
    }

    private static ushort[] TwoLevels()
    {
        var table = new ushort[States * 64];
        for (var state = 0; state < States; state++)
        {
            for (var cell = 0; cell < 64; cell++)
            {
                int x = cell >> 4, y = (cell >> 2) & 3, z = cell & 3;
                var (high, middle) = Step(state, (x >> 1) | (y & 2) | ((z & 2) << 1));
                var (low, next) = Step(middle, (x & 1) | ((y & 1) << 1) | ((z & 1) << 2));
                table[(state * 64) + cell] = (ushort)((next << 6) | (high << 3) | low);
            }
        }

        return table;
    }

    /// <summary>One level: octant to digit and next state; state = entry corner + 8 · direction.</summary>
    private static (int Digit, int Next) Step(int state, int octant)
    {
        int entry = state & 7, direction = state >> 3;
        var gray = Rotate(octant ^ entry, -(direction + 1));
        var digit = gray ^ (gray >> 1) ^ (gray >> 2);
        var nextEntry = entry ^ Rotate(EntryOf(digit), direction + 1);
        var nextDirection = (direction + DirectionOf(digit) + 1) % 3;
        return (digit, nextEntry | (nextDirection << 3));
    }

    private static int EntryOf(int digit)
    {
        var even = digit == 0 ? 0 : 2 * ((digit - 1) / 2);
        return even ^ (even >> 1);
    }

    private static int DirectionOf(int digit) =>
        digit == 0 ? 0 : int.TrailingZeroCount(~(digit % 2 == 0 ? digit - 1 : digit)) % 3;

    /// <summary>Rotates three bits to the left by a number of places, which may be negative.</summary>
    private static int Rotate(int bits, int left)
    {
        left = ((left % 3) + 3) % 3;
        return ((bits << left) | (bits >> (3 - left))) & 7;
    }
}
