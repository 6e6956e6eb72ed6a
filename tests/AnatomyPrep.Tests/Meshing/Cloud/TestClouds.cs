using System.Security.Cryptography;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Tests.Meshing.Cloud;

/// <summary>Points on surfaces with known truth, strewn at random with a fixed seed.</summary>
internal static class TestClouds
{
    /// <summary>Evenly strewn over a sphere, moved along the normal by normally distributed noise; the normals are exact.</summary>
    public static PointCloud Sphere(int count, double radiusMm, double noiseMm = 0, Vec3 centerMm = default, int seed = 1, bool withNormals = true)
    {
        var random = new Random(seed);
        return Make(centerMm, count, withNormals, () =>
        {
            var n = Direction(random);
            return (centerMm + (n * (radiusMm + (noiseMm * Normal(random)))), n);
        });
    }

    /// <summary>About the z axis, evenly by area (rejection on the distance to the axis).</summary>
    public static PointCloud Torus(int count, double ringMm, double tubeMm, double noiseMm = 0, int seed = 1, bool withNormals = true)
    {
        var random = new Random(seed);
        return Make(Vec3.Zero, count, withNormals, () =>
        {
            double a, b;
            do
            {
                (a, b) = (2 * Math.PI * random.NextDouble(), 2 * Math.PI * random.NextDouble());
            }
            while ((ringMm + (tubeMm * Math.Cos(b))) / (ringMm + tubeMm) < random.NextDouble());
            Vec3 n = new(Math.Cos(b) * Math.Cos(a), Math.Cos(b) * Math.Sin(a), Math.Sin(b));
            var at = new Vec3(ringMm * Math.Cos(a), ringMm * Math.Sin(a), 0) + (n * (tubeMm + (noiseMm * Normal(random))));
            return (at, n);
        });
    }

    /// <summary>Both faces and the round edge of a plate: all points at half the thickness from a disc in z = 0.</summary>
    public static PointCloud Plate(int count, double radiusMm, double thicknessMm, double noiseMm = 0, int seed = 1, bool withNormals = true)
    {
        var random = new Random(seed);
        var half = thicknessMm / 2;
        // Areas: two discs, and the outer half of a torus (Pappus: path of the half circle's centroid, 2 r / π from its chord).
        double discs = 2 * Math.PI * radiusMm * radiusMm, edge = Math.PI * half * 2 * Math.PI * (radiusMm + (2 * half / Math.PI));
        return Make(Vec3.Zero, count, withNormals, () =>
        {
            var noise = noiseMm * Normal(random);
            var a = 2 * Math.PI * random.NextDouble();
            if (random.NextDouble() * (discs + edge) < discs)
            {
                var r = radiusMm * Math.Sqrt(random.NextDouble());
                var up = new Vec3(0, 0, random.Next(2) == 0 ? 1 : -1);
                return (new Vec3(r * Math.Cos(a), r * Math.Sin(a), 0) + (up * (half + noise)), up);
            }

            double b;
            do
            {
                b = Math.PI * (random.NextDouble() - 0.5);
            }
            while ((radiusMm + (half * Math.Cos(b))) / (radiusMm + half) < random.NextDouble());
            Vec3 n = new(Math.Cos(b) * Math.Cos(a), Math.Cos(b) * Math.Sin(a), Math.Sin(b));
            return (new Vec3(radiusMm * Math.Cos(a), radiusMm * Math.Sin(a), 0) + (n * (half + noise)), n);
        });
    }

    public static PointCloud Of(Vec3[] points, Vec3[]? normals = null, Vec3 originMm = default) =>
        new(originMm, Flat([.. points.Select(p => p - originMm)]), normals is null ? null : Flat(normals));

    public static PointCloud Join(params PointCloud[] clouds)
    {
        var normals = clouds.All(c => c.HasNormals) ? clouds.SelectMany(c => Enumerable.Range(0, c.Count).Select(c.Normal)).ToArray() : null;
        return Of([.. clouds.SelectMany(c => Enumerable.Range(0, c.Count).Select(c.Point))], normals);
    }

    public static PointCloud Where(this PointCloud cloud, Func<Vec3, bool> keep)
    {
        var kept = Enumerable.Range(0, cloud.Count).Where(p => keep(cloud.Point(p))).ToArray();
        return cloud.Listed(kept);
    }

    /// <summary>The same points in another order.</summary>
    public static PointCloud Shuffled(this PointCloud cloud, int seed)
    {
        var order = Enumerable.Range(0, cloud.Count).ToArray();
        new Random(seed).Shuffle(order);
        return cloud.Listed(order);
    }

    public static PointCloud Listed(this PointCloud cloud, int[] order)
    {
        float[] Chosen(ReadOnlySpan<float> threes)
        {
            var chosen = new float[3 * order.Length];
            for (var i = 0; i < order.Length; i++)
                threes.Slice(3 * order[i], 3).CopyTo(chosen.AsSpan(3 * i));
            return chosen;
        }

        return new(cloud.OriginMm, Chosen(cloud.Positions), cloud.HasNormals ? Chosen(cloud.Normals) : null);
    }

    public static PointCloud Moved(this PointCloud cloud, Vec3 byMm) => new(cloud.OriginMm + byMm, cloud.PositionArray, cloud.NormalArray);

    public static PointCloud WithoutNormals(this PointCloud cloud) => new(cloud.OriginMm, cloud.PositionArray);

    public static PointCloud Scaled(this PointCloud cloud, float factor) =>
        new(cloud.OriginMm * factor, [.. cloud.PositionArray.Select(x => x * factor)], cloud.NormalArray);

    public static string Hash(PointCloud cloud)
    {
        using var hash = IncrementalHash.CreateHash(HashAlgorithmName.SHA256);
        hash.AppendData(System.Runtime.InteropServices.MemoryMarshal.AsBytes(cloud.Positions));
        hash.AppendData(System.Runtime.InteropServices.MemoryMarshal.AsBytes(cloud.Normals));
        return Convert.ToHexString(hash.GetHashAndReset());
    }

    public static RunContext Threads(int count) => new(threads: count);

    public static Vec3 Direction(Random random) => new Vec3(Normal(random), Normal(random), Normal(random)).Normalized();

    /// <summary>Standard normal (Box and Muller 1958).</summary>
    public static double Normal(Random random) => Math.Sqrt(-2 * Math.Log(1 - random.NextDouble())) * Math.Cos(2 * Math.PI * random.NextDouble());

    private static PointCloud Make(Vec3 originMm, int count, bool withNormals, Func<(Vec3 At, Vec3 Normal)> next)
    {
        var made = Enumerable.Range(0, count).Select(_ => next()).ToArray();
        return Of([.. made.Select(m => m.At)], withNormals ? [.. made.Select(m => m.Normal)] : null, originMm);
    }

    private static float[] Flat(Vec3[] threes) => [.. threes.SelectMany(v => (float[])[(float)v.X, (float)v.Y, (float)v.Z])];
}
