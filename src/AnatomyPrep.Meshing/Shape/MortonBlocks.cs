using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>Cuts the triangles of a mesh into compact pieces of equal number.</summary>
/// <remarks>
/// Morton, "A computer oriented geodetic data base and a new technique in file sequencing", IBM 1966: triangles in the order of
/// the interleaved bits of their centres, 10 bits an axis; ties by number. Stable radix sort; O(triangles); 16 bytes a triangle.
/// </remarks>
internal static class MortonBlocks
{
    private const int Digits = 1 << 15;

    /// <summary>The triangles in order.</summary>
    internal static int[] Order(Mesh mesh, RunContext run)
    {
        var bounds = mesh.BoundsMm();
        var (low, size) = (bounds.Min - mesh.OriginMm, bounds.Size);
        var scale = 1024 / Math.Max(double.Epsilon, Math.Max(size.X, Math.Max(size.Y, size.Z)) * 3);
        var (p, corners) = (mesh.PositionArray, mesh.TriangleArray);
        var keys = new uint[mesh.TriangleCount];
        Partition.Ranges(run, keys.Length, 1 << 15, (_, from, to) =>
        {
            for (var t = from; t < to; t++)
            {
                int a = 3 * corners[3 * t], b = 3 * corners[(3 * t) + 1], c = 3 * corners[(3 * t) + 2];
                keys[t] = Spread(((double)p[a] + p[b] + p[c] - (3 * low.X)) * scale)
                    | (Spread(((double)p[a + 1] + p[b + 1] + p[c + 1] - (3 * low.Y)) * scale) << 1)
                    | (Spread(((double)p[a + 2] + p[b + 2] + p[c + 2] - (3 * low.Z)) * scale) << 2);
            }
        });
        var order = new int[keys.Length];
        for (var t = 0; t < order.Length; t++)
            order[t] = t;
        return ByDigit(keys, ByDigit(keys, order, 0), 15);
    }

    private static int[] ByDigit(uint[] keys, int[] order, int shift)
    {
        var start = new int[Digits + 1];
        foreach (var t in order)
            start[((keys[t] >> shift) & (Digits - 1)) + 1]++;
        for (var i = 0; i < Digits; i++)
            start[i + 1] += start[i];
        var sorted = new int[order.Length];
        foreach (var t in order)
            sorted[start[(keys[t] >> shift) & (Digits - 1)]++] = t;
        return sorted;
    }

    /// <summary>Ten bits with two zeros between each.</summary>
    private static uint Spread(double cell)
    {
        var x = (uint)Math.Clamp((int)cell, 0, 1023);
        x = (x | (x << 16)) & 0x030000FF;
        x = (x | (x << 8)) & 0x0300F00F;
        x = (x | (x << 4)) & 0x030C30C3;
        return (x | (x << 2)) & 0x09249249;
    }
}
