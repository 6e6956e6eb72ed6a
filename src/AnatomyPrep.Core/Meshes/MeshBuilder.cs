using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Core.Meshes;

/// <summary>Grows a mesh; <see cref="Build"/> hands it over and leaves the builder dead.</summary>
public sealed class MeshBuilder(Vec3 originMm)
{
    private readonly List<float> _positions = [];
    private readonly List<int> _triangles = [];
    private readonly List<Origin> _origins = [];
    private bool _built;

    public int VertexCount => _positions.Count / 3;

    public int TriangleCount => _origins.Count;

    /// <summary>Adds a vertex given in patient millimetres and returns its index.</summary>
    public int AddVertex(Vec3 patientMm)
    {
        var p = patientMm - originMm;
        return AddLocal((float)p.X, (float)p.Y, (float)p.Z);
    }

    /// <summary>Adds a vertex relative to the origin, exactly as given.</summary>
    public int AddLocal(float x, float y, float z)
    {
        ThrowIfBuilt();
        _positions.Add(x);
        _positions.Add(y);
        _positions.Add(z);
        return VertexCount - 1;
    }

    public int AddTriangle(int a, int b, int c, Origin origin = Origin.Measured)
    {
        ThrowIfBuilt();
        _triangles.Add(a);
        _triangles.Add(b);
        _triangles.Add(c);
        _origins.Add(origin);
        return TriangleCount - 1;
    }

    public Mesh Build()
    {
        ThrowIfBuilt();
        _built = true;
        return new(originMm, [.. _positions], [.. _triangles], [.. _origins]);
    }

    private void ThrowIfBuilt()
    {
        if (_built)
            throw new InvalidOperationException("This builder has handed its mesh over.");
    }
}
