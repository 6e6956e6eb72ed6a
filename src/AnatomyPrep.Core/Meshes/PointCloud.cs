using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Core.Meshes;

/// <summary>Measured points, with or without a direction each. Immutable.</summary>
/// <remarks>
/// Layout: positions float32 x, y, z per point, millimetres relative to <see cref="OriginMm"/> (double); normals float32
/// x, y, z per point, unit length, or 0, 0, 0 where the direction is unknown.
/// </remarks>
public sealed class PointCloud
{
    private readonly float[] _positions;
    private readonly float[]? _normals;

    /// <summary>Takes the arrays over; the caller must not touch them again.</summary>
    public PointCloud(Vec3 originMm, float[] positions, float[]? normals = null)
    {
        if (positions.Length % 3 != 0)
            throw new ArgumentException("Positions come in threes.", nameof(positions));
        if (normals is not null && normals.Length != positions.Length)
            throw new ArgumentException("One normal per point is needed.", nameof(normals));
        OriginMm = originMm;
        _positions = positions;
        _normals = normals;
    }

    public Vec3 OriginMm { get; }

    public int Count => _positions.Length / 3;

    public bool HasNormals => _normals is not null;

    public ReadOnlySpan<float> Positions => _positions;

    /// <summary>Empty when the points have none.</summary>
    public ReadOnlySpan<float> Normals => _normals;

    /// <summary>The same data as arrays, for code that runs on several threads. Read only.</summary>
    public float[] PositionArray => _positions;

    public float[]? NormalArray => _normals;

    /// <summary>Point in patient millimetres.</summary>
    public Vec3 Point(int p) => Local(p) + OriginMm;

    /// <summary>Point relative to <see cref="OriginMm"/>, exactly as stored.</summary>
    public Vec3 Local(int p) => new(_positions[3 * p], _positions[(3 * p) + 1], _positions[(3 * p) + 2]);

    /// <exception cref="InvalidOperationException">The points have no normals.</exception>
    public Vec3 Normal(int p) => _normals is null
        ? throw new InvalidOperationException("These points have no normals.")
        : new(_normals[3 * p], _normals[(3 * p) + 1], _normals[(3 * p) + 2]);

    public Box3 BoundsMm()
    {
        var box = Box3.Empty;
        for (var p = 0; p < Count; p++)
            box = box.Including(Local(p));
        return box.IsEmpty ? box : new(box.Min + OriginMm, box.Max + OriginMm);
    }
}
