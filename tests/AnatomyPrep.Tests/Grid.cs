using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Tests;

/// <summary>Small volumes in memory, filled from a function of patient position or of index.</summary>
internal static class Grid
{
    /// <summary>A box of samples centred on the patient origin; odd sizes put a sample there.</summary>
    public static IndexToPatient Map(int columns, int rows, int slices, double dx = 1, double dy = 1, double dz = 1)
    {
        var first = new Vec3(-dx * (columns - 1) / 2, -dy * (rows - 1) / 2, -dz * (slices - 1) / 2);
        var origins = Enumerable.Range(0, slices).Select(k => first + new Vec3(0, 0, k * dz)).ToArray();
        return new(new Vec3(dx, 0, 0), new Vec3(0, dy, 0), origins);
    }

    public static Volume FromPatient(int columns, int rows, IndexToPatient map, Func<Vec3, double> hu) =>
        FromIndex(columns, rows, map, (i, j, k) => (short)Math.Clamp(Math.Round(hu(map.Map(i, j, k))), short.MinValue, short.MaxValue));

    public static Volume FromIndex(int columns, int rows, IndexToPatient map, Func<int, int, int, short> hu)
    {
        var samples = new NativeBuffer<short>((long)columns * rows * map.Slices);
        long at = 0;
        for (var k = 0; k < map.Slices; k++)
            for (var j = 0; j < rows; j++)
                for (var i = 0; i < columns; i++)
                    samples[at++] = hu(i, j, k);
        return new(columns, rows, samples, map);
    }

    public static Volume Noise(int columns, int rows, int slices, int seed, short low = -1, short high = 1)
    {
        var random = new Random(seed);
        return FromIndex(columns, rows, Map(columns, rows, slices), (_, _, _) => (short)random.Next(low, high + 1));
    }
}
