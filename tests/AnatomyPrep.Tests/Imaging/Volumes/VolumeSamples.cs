using System.Security.Cryptography;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Tests.Imaging.Volumes;

/// <summary>Volumes made of a formula, for tests.</summary>
internal static unsafe class VolumeSamples
{
    internal static IndexToPatient Straight(int slices, double columnMm = 1, double rowMm = 1, double sliceMm = 1)
    {
        var origins = new Vec3[slices];
        for (var k = 0; k < slices; k++)
            origins[k] = new Vec3(0, 0, k * sliceMm);
        return new(new Vec3(columnMm, 0, 0), new Vec3(0, rowMm, 0), origins);
    }

    internal static Volume Of(int columns, int rows, IndexToPatient map, Func<int, int, int, double> hu)
    {
        var samples = new NativeBuffer<short>((long)columns * rows * map.Slices);
        long at = 0;
        for (var k = 0; k < map.Slices; k++)
            for (var j = 0; j < rows; j++)
                for (var i = 0; i < columns; i++)
                    samples[at++] = checked((short)Math.Round(hu(i, j, k)));
        return new Volume(columns, rows, samples, map);
    }

    /// <summary>HU given as a function of the position in the patient.</summary>
    internal static Volume InPatient(int columns, int rows, IndexToPatient map, Func<Vec3, double> hu) =>
        Of(columns, rows, map, (i, j, k) => hu(map.Map(i, j, k)));

    internal static Volume Random(int columns, int rows, int slices, int seed, int low = short.MinValue, int high = short.MaxValue, IndexToPatient? map = null)
    {
        var random = new Random(seed);
        return Of(columns, rows, map ?? Straight(slices), (_, _, _) => random.Next(low, high + 1));
    }

    internal static short[] All(Volume volume) => new ReadOnlySpan<short>(volume.Samples, checked((int)volume.Count)).ToArray();

    internal static string Hash(Volume volume) =>
        Convert.ToHexString(SHA256.HashData(new ReadOnlySpan<byte>(volume.Samples, checked((int)volume.Count * sizeof(short)))));
}
