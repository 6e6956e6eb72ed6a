using System.Numerics;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Prepare;

/// <summary>Unit normal and area of every triangle, axis by axis, for sums over many directions. 16 bytes a triangle.</summary>
internal sealed class FaceTable
{
    private const int Block = 1 << 15;

    private FaceTable(int count) => (X, Y, Z, AreaMm2) = (new float[count], new float[count], new float[count], new float[count]);

    public float[] X { get; }

    public float[] Y { get; }

    public float[] Z { get; }

    public float[] AreaMm2 { get; }

    public double TotalMm2 { get; private set; }

    /// <summary>Middle of the material, of a closed mesh, relative to its origin.</summary>
    public Vec3 Centroid { get; private set; }

    public double VolumeMm3 { get; private set; }

    public static FaceTable Of(Mesh mesh, RunContext run)
    {
        var table = new FaceTable(mesh.TriangleCount);
        var center = mesh.BoundsMm().Center - mesh.OriginMm;
        var sums = new (double Area, double Volume, Vec3 Moment)[Partition.Pieces(mesh.TriangleCount, Block)];
        Partition.Ranges(run, mesh.TriangleCount, Block, (piece, from, to) =>
        {
            double area = 0, volume = 0;
            var moment = Vec3.Zero;
            for (var t = from; t < to; t++)
            {
                var (a, b, c) = mesh.Triangle(t);
                Vec3 p = mesh.Local(a) - center, q = mesh.Local(b) - center, r = mesh.Local(c) - center;
                var n = Vec3.Cross(q - p, r - p);
                var length = n.Length;
                (table.X[t], table.Y[t], table.Z[t]) = length > 0 ? ((float)(n.X / length), (float)(n.Y / length), (float)(n.Z / length)) : (0, 0, 0);
                table.AreaMm2[t] = (float)(length / 2);
                area += length / 2;
                var six = Vec3.Dot(p, Vec3.Cross(q, r));
                volume += six / 6;
                moment += (p + q + r) * (six / 24);
            }

            sums[piece] = (area, volume, moment);
        });
        var whole = Vec3.Zero;
        foreach (var (area, volume, moment) in sums)
        {
            table.TotalMm2 += area;
            table.VolumeMm3 += volume;
            whole += moment;
        }

        table.Centroid = (table.VolumeMm3 > 0 ? whole / table.VolumeMm3 : Vec3.Zero) + center;
        return table;
    }

    public Vec3 Normal(int t) => new(X[t], Y[t], Z[t]);

    /// <summary>Cosine between every triangle's normal and a direction, into <paramref name="into"/>.</summary>
    public void Along(Vec3 direction, float[] into)
    {
        var (dx, dy, dz) = ((float)direction.X, (float)direction.Y, (float)direction.Z);
        var (vx, vy, vz) = (new Vector<float>(dx), new Vector<float>(dy), new Vector<float>(dz));
        var end = X.Length - (X.Length % Vector<float>.Count);
        for (var t = 0; t < end; t += Vector<float>.Count)
        {
            var sum = (new Vector<float>(X, t) * vx) + (new Vector<float>(Y, t) * vy) + (new Vector<float>(Z, t) * vz);
            sum.CopyTo(into, t);
        }

        for (var t = end; t < X.Length; t++)
            into[t] = (X[t] * dx) + (Y[t] * dy) + (Z[t] * dz);
    }
}
