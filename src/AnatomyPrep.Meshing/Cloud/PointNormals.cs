using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Cloud;

/// <summary>Directions by place in the tree, and which of them came with the points.</summary>
internal sealed class PointNormals(PointIndex index)
{
    private readonly float[] _normals = new float[3 * index.Count];

    internal bool[] Given { get; } = new bool[index.Count];

    internal Vec3 this[int place] => new(_normals[3 * place], _normals[(3 * place) + 1], _normals[(3 * place) + 2]);

    internal void Set(int place, Vec3 normal) =>
        (_normals[3 * place], _normals[(3 * place) + 1], _normals[(3 * place) + 2]) = ((float)normal.X, (float)normal.Y, (float)normal.Z);

    internal void Turn(int place) =>
        (_normals[3 * place], _normals[(3 * place) + 1], _normals[(3 * place) + 2]) = (-_normals[3 * place], -_normals[(3 * place) + 1], -_normals[(3 * place) + 2]);

    /// <summary>Takes over what the points came with; returns how many had one.</summary>
    internal int TakeGiven() => index.Cloud.HasNormals ? Take(index.Cloud) : 0;

    /// <summary>Takes over the directions of the same points in the same order; returns how many had one.</summary>
    internal int Take(PointCloud cloud)
    {
        var count = 0;
        for (var p = 0; p < index.Count; p++)
        {
            var normal = cloud.Normal(index.Order[p]);
            Given[p] = normal != Vec3.Zero;
            count += Given[p] ? 1 : 0;
            Set(p, normal);
        }

        return count;
    }

    /// <summary>More than half of the neighbours with a direction look the other way.</summary>
    internal bool StandsAgainst(int place, ReadOnlySpan<int> neighbours)
    {
        int against = 0, asked = 0;
        var own = this[place];
        foreach (var q in neighbours)
        {
            var other = this[q];
            asked += other == Vec3.Zero ? 0 : 1;
            against += Vec3.Dot(own, other) < 0 ? 1 : 0;
        }

        return 2 * against > asked;
    }

    internal int CountUnknown()
    {
        var count = 0;
        for (var p = 0; p < index.Count; p++)
            count += this[p] == Vec3.Zero ? 1 : 0;
        return count;
    }

    /// <summary>The same points, in their own order, with these directions.</summary>
    internal PointCloud ToCloud()
    {
        var normals = new float[_normals.Length];
        for (var p = 0; p < index.Count; p++)
            _normals.AsSpan(3 * p, 3).CopyTo(normals.AsSpan(3 * index.Order[p]));
        return new(index.Cloud.OriginMm, index.Cloud.PositionArray, normals);
    }
}
