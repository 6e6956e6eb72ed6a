using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shell;

/// <summary>The surface at a signed distance from a closed solid, as the boundary of what lies within it; all triangles of origin offset.</summary>
internal static class LevelSurface
{
    /// <param name="levelMm">Negative: inside of the solid. Nothing there gives an empty mesh.</param>
    public static Mesh Extract(string step, SheetSide solid, double levelMm, double cellMm, RunContext run, out int putBack)
    {
        var mesh = solid.Tree.Mesh;
        var bounds = mesh.BoundsMm();
        var box = new Box3(bounds.Min - mesh.OriginMm, bounds.Max - mesh.OriginMm).Grown(Math.Max(0, levelMm) + cellMm);
        var field = new LevelField(solid, levelMm);
        SparseSurface surface;
        using (var grid = SparseGrid.Sample(step, field, box, MeshMeasures.AreaMm2(mesh, run), cellMm, run))
            surface = SparseSurface.Extract(grid, field, run);
        (var level, putBack) = Untangle.Apply(step, surface, mesh.OriginMm, run);
        var origins = new Origin[level.TriangleCount];
        Array.Fill(origins, Origin.Offset);
        return new(level.OriginMm, level.PositionArray, level.TriangleArray, origins);
    }
}
