using System.Numerics;
using System.Runtime.CompilerServices;
using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Core.Meshes;

/// <summary>
/// Indexed triangles. Immutable: a step borrows spans and returns a new mesh.
/// </summary>
/// <remarks>
/// Layout: positions float32 x, y, z per vertex, millimetres in LPS relative to <see cref="OriginMm"/> (double);
/// triangles int32 a, b, c, counter-clockwise seen from outside; one origin byte per triangle.
/// Half-edge h = 3t + c runs from corner c of triangle t to corner (c + 1) mod 3.
/// </remarks>
public sealed class Mesh
{
    private readonly float[] _positions;
    private readonly int[] _triangles;
    private readonly Origin[] _origins;

    /// <summary>Takes the arrays over; the caller must not touch them again.</summary>
    /// <param name="origins">One per triangle; null means all measured.</param>
    public Mesh(Vec3 originMm, float[] positions, int[] triangles, Origin[]? origins = null)
    {
        if (positions.Length % 3 != 0 || triangles.Length % 3 != 0)
            throw new ArgumentException("Positions and triangles come in threes.");
        origins ??= new Origin[triangles.Length / 3];
        if (origins.Length != triangles.Length / 3)
            throw new ArgumentException("One origin per triangle is needed.", nameof(origins));
        var vertices = positions.Length / 3;
        if (FirstAtOrAbove(triangles, vertices) is var bad and >= 0)
            throw new ArgumentException($"Vertex index {triangles[bad]} is outside 0 … {vertices - 1}.", nameof(triangles));
        OriginMm = originMm;
        _positions = positions;
        _triangles = triangles;
        _origins = origins;
    }

    // A negative index is a large one without its sign.
    private static int FirstAtOrAbove(ReadOnlySpan<int> indices, int limit)
    {
        var i = 0;
        var limits = new Vector<uint>((uint)limit);
        for (; i <= indices.Length - Vector<uint>.Count; i += Vector<uint>.Count)
            if (Vector.GreaterThanOrEqualAny(Vector.AsVectorUInt32(new Vector<int>(indices[i..])), limits))
                break;
        for (; i < indices.Length; i++)
            if ((uint)indices[i] >= (uint)limit)
                return i;
        return -1;
    }

    public static Mesh Empty { get; } = new(Vec3.Zero, [], []);

    public Vec3 OriginMm { get; }

    public int VertexCount => _positions.Length / 3;

    public int TriangleCount => _origins.Length;

    public ReadOnlySpan<float> Positions => _positions;

    public ReadOnlySpan<int> Triangles => _triangles;

    public ReadOnlySpan<Origin> Origins => _origins;

    /// <summary>The same data as arrays, for code that runs on several threads. Read only.</summary>
    public float[] PositionArray => _positions;

    public int[] TriangleArray => _triangles;

    public Origin[] OriginArray => _origins;

    /// <summary>Vertex in patient millimetres.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public Vec3 Vertex(int v) => Local(v) + OriginMm;

    /// <summary>Vertex relative to <see cref="OriginMm"/>, exactly as stored.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public Vec3 Local(int v) => new(_positions[3 * v], _positions[(3 * v) + 1], _positions[(3 * v) + 2]);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public (int A, int B, int C) Triangle(int t) => (_triangles[3 * t], _triangles[(3 * t) + 1], _triangles[(3 * t) + 2]);

    public Box3 BoundsMm()
    {
        if (VertexCount == 0)
            return Box3.Empty;
        float x0 = float.PositiveInfinity, y0 = x0, z0 = x0, x1 = float.NegativeInfinity, y1 = x1, z1 = x1;
        for (var i = 0; i < _positions.Length; i += 3)
        {
            x0 = Math.Min(x0, _positions[i]);
            x1 = Math.Max(x1, _positions[i]);
            y0 = Math.Min(y0, _positions[i + 1]);
            y1 = Math.Max(y1, _positions[i + 1]);
            z0 = Math.Min(z0, _positions[i + 2]);
            z1 = Math.Max(z1, _positions[i + 2]);
        }

        return new(new Vec3(x0, y0, z0) + OriginMm, new Vec3(x1, y1, z1) + OriginMm);
    }

    /// <summary>The same surface with positions rounded to float32 about another origin; what a file without an origin will hold.</summary>
    public Mesh Rebased(Vec3 originMm)
    {
        if (originMm == OriginMm)
            return this;
        var moved = new float[_positions.Length];
        var shift = OriginMm - originMm;
        for (var i = 0; i < moved.Length; i += 3)
        {
            moved[i] = (float)(_positions[i] + shift.X);
            moved[i + 1] = (float)(_positions[i + 1] + shift.Y);
            moved[i + 2] = (float)(_positions[i + 2] + shift.Z);
        }

        return new(originMm, moved, _triangles, _origins);
    }
}
