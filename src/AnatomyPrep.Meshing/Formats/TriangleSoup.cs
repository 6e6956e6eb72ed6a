using System.Buffers;
using System.Numerics;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>
/// Triangles that arrive with positions instead of vertex numbers, joined at equal positions into an indexed mesh.
/// Pieces of <see cref="PieceTriangles"/> may be added by several threads in any order; vertices are numbered in the order
/// in which the triangles, taken one after the other, first touch them.
/// </summary>
/// <remarks>
/// Method: each piece is joined in itself in a small table that stays in the cache, which leaves about one vertex a
///   triangle; these are joined by <see cref="EqualPoints"/>. Cost: O(n). Memory a triangle: 12 bytes of indices, then for
///   every vertex a piece is left with (about 1, at most 3 a triangle) 36 bytes until the end.
/// </remarks>
internal sealed class TriangleSoup
{
    internal const int PieceTriangles = 1 << 13;

    private const int TableBits = 16;

    private readonly int[] _triangles;
    private readonly float[][] _distinct;

    internal TriangleSoup(int triangles)
    {
        _triangles = GC.AllocateUninitializedArray<int>(3 * triangles);
        _distinct = new float[Partition.Pieces(triangles, PieceTriangles)][];
    }

    /// <param name="corners">Nine coordinates a triangle; a whole piece, or the rest for the last one.</param>
    internal void AddPiece(int piece, ReadOnlySpan<float> corners)
    {
        var indices = _triangles.AsSpan(3 * piece * PieceTriangles, corners.Length / 3);
        var table = ArrayPool<int>.Shared.Rent(1 << TableBits);
        var distinct = ArrayPool<float>.Shared.Rent(corners.Length);
        try
        {
            var count = JoinEqual(corners, indices, table.AsSpan(0, 1 << TableBits), distinct);
            _distinct[piece] = distinct.AsSpan(0, 3 * count).ToArray();
        }
        finally
        {
            ArrayPool<int>.Shared.Return(table);
            ArrayPool<float>.Shared.Return(distinct);
        }
    }

    /// <summary>The mesh; the soup hands its arrays over and must not be used again.</summary>
    internal (float[] Positions, int[] Triangles) Build(RunContext run)
    {
        var start = new int[_distinct.Length + 1];
        for (var piece = 0; piece < _distinct.Length; piece++)
            start[piece + 1] = start[piece] + (_distinct[piece].Length / 3);
        var points = GC.AllocateUninitializedArray<float>(3 * start[^1]);
        for (var piece = 0; piece < _distinct.Length; piece++)
        {
            _distinct[piece].CopyTo(points, 3 * start[piece]);
            _distinct[piece] = [];
        }

        var (number, positions) = EqualPoints.Find(points, run);
        Partition.Ranges(run, _triangles.Length, 3 * PieceTriangles, (piece, from, to) =>
        {
            var numbers = number.AsSpan(start[piece], start[piece + 1] - start[piece]);
            foreach (ref var corner in _triangles.AsSpan(from, to - from))
                corner = numbers[corner];
        });
        return (positions, _triangles);
    }

    private static int JoinEqual(ReadOnlySpan<float> corners, Span<int> indices, Span<int> table, Span<float> distinct)
    {
        table.Fill(-1);
        var count = 0;
        for (int corner = 0, at = 0; corner < indices.Length; corner++, at += 3)
        {
            uint x = PointHash.Bits(corners[at]), y = PointHash.Bits(corners[at + 1]), z = PointHash.Bits(corners[at + 2]);
            var slot = (int)(PointHash.Of(x, y, z) >> (64 - TableBits));
            int found;
            while ((found = table[slot]) >= 0 && !IsAt(distinct, found, x, y, z))
                slot = (slot + 1) & (table.Length - 1);
            if (found < 0)
            {
                found = table[slot] = count++;
                corners.Slice(at, 3).CopyTo(distinct[(3 * found)..]);
            }

            indices[corner] = found;
        }

        return count;
    }

    private static bool IsAt(ReadOnlySpan<float> positions, int i, uint x, uint y, uint z) =>
        PointHash.Bits(positions[3 * i]) == x && PointHash.Bits(positions[(3 * i) + 1]) == y && PointHash.Bits(positions[(3 * i) + 2]) == z;
}
