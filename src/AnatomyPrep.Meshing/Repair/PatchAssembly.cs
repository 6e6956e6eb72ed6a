using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>A mesh with patches behind it: the old vertices and triangles keep their numbers and bytes.</summary>
internal sealed class PatchAssembly(Mesh mesh)
{
    private readonly List<float> _positions = [.. mesh.Positions];
    private readonly List<int> _triangles = [.. mesh.Triangles];
    private readonly List<Origin> _origins = [.. mesh.Origins];

    public void Add(HolePatch patch)
    {
        var first = _positions.Count / 3;
        foreach (var p in patch.NewPoints)
            Add(p);
        foreach (var (a, b, c) in patch.Triangles)
        {
            _triangles.Add(Number(a));
            _triangles.Add(Number(b));
            _triangles.Add(Number(c));
            _origins.Add(Origin.Filled);
        }

        int Number(int v) => v < patch.Rim.Length ? patch.Rim[v] : first + v - patch.Rim.Length;
    }

    public Mesh Build() => new(mesh.OriginMm, [.. _positions], [.. _triangles], [.. _origins]);

    private void Add(Vec3 p)
    {
        _positions.Add((float)p.X);
        _positions.Add((float)p.Y);
        _positions.Add((float)p.Z);
    }
}
