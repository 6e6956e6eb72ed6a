using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Benchmarks;

/// <summary>A ball of bone with a soft edge and seeded noise, for kernels.</summary>
internal static class NoisyBall
{
    public static readonly HuWindow Bone = new(300, short.MaxValue);

    public static Volume Create(int size)
    {
        var samples = new NativeBuffer<short>((long)size * size * size);
        var random = new Random(7);
        var center = (size - 1) / 2.0;
        long at = 0;
        for (var k = 0; k < size; k++)
            for (var j = 0; j < size; j++)
                for (var i = 0; i < size; i++)
                {
                    var depth = (0.4 * size) - new Vec3(i - center, j - center, k - center).Length;
                    samples[at++] = (short)(Math.Clamp(300 + (400 * depth), 0, 1000) + random.Next(-60, 61));
                }

        var origins = Enumerable.Range(0, size).Select(k => new Vec3(0, 0, 0.5 * k)).ToArray();
        return new(size, size, samples, new IndexToPatient(new Vec3(0.5, 0, 0), new Vec3(0, 0.5, 0), origins));
    }
}
