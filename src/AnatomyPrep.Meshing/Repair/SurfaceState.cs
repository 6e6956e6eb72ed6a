using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>A mesh with what several repairs ask of it, each found when first asked for. Not thread-safe.</summary>
internal sealed class SurfaceState(Mesh mesh, RunContext run)
{
    private TriangleTree? _tree;
    private EdgeTable? _edges;
    private IntersectingPairs? _pairs;
    private Shells? _shells;

    public Mesh Mesh { get; } = mesh;

    public TriangleTree Tree => _tree ??= TriangleTree.Build(Mesh, run);

    public EdgeTable Edges => _edges ??= EdgeTable.Build(Mesh);

    public IntersectingPairs Pairs => _pairs ??= SelfIntersections.Find(Tree, Edges, run);

    public Shells Shells => _shells ??= Shells.Measure(Tree, Edges, Pairs, run);

    /// <summary>This one, when the mesh is still the same.</summary>
    public SurfaceState For(Mesh mesh) => ReferenceEquals(mesh, Mesh) ? this : new(mesh, run);
}
