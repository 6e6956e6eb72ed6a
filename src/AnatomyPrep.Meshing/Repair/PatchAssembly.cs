using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>A mesh with patches behind it: the old vertices and triangles keep their numbers and bytes.</summary>
internal sealed class PatchAssembly(Mesh mesh)
{
    private readonly List<HolePatch> _patches = [];

    public void Add(HolePatch patch) => _patches.Add(patch);

    public Mesh Build()
    {
        var positions = GC.AllocateUninitializedArray<float>(mesh.Positions.Length + (3 * _patches.Sum(p => p.NewPoints.Length)));
        var triangles = GC.AllocateUninitializedArray<int>(mesh.Triangles.Length + (3 * _patches.Sum(p => p.Triangles.Length)));
        var origins = GC.AllocateUninitializedArray<Origin>(triangles.Length / 3);
        mesh.Positions.CopyTo(positions);
        mesh.Triangles.CopyTo(triangles);
        mesh.Origins.CopyTo(origins);
        origins.AsSpan(mesh.TriangleCount).Fill(Origin.Filled);
        var (point, corner) = (mesh.Positions.Length, mesh.Triangles.Length);
        foreach (var patch in _patches)
        {
            var first = point / 3;
            foreach (var p in patch.NewPoints)
                (positions[point++], positions[point++], positions[point++]) = ((float)p.X, (float)p.Y, (float)p.Z);
            foreach (var (a, b, c) in patch.Triangles)
                (triangles[corner++], triangles[corner++], triangles[corner++]) = (Number(a), Number(b), Number(c));

            int Number(int v) => v < patch.Rim.Length ? patch.Rim[v] : first + v - patch.Rim.Length;
        }

        return new(mesh.OriginMm, positions, triangles, origins);
    }
}
