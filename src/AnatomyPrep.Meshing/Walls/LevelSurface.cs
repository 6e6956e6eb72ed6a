using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Walls;

/// <summary>The surface at a signed distance from a closed solid, as the boundary of what lies within it; all triangles of origin offset.</summary>
internal static class LevelSurface
{
    /// <param name="radiusMm">Radius to which concave edges are rounded, seen from the solid; 0 keeps them.</param>
    /// <param name="levelMm">Negative: inside of the solid. Nothing there gives an empty mesh.</param>
    public static Mesh Extract(string step, SheetSide solid, double levelMm, double radiusMm, double cellMm, RunContext run, out int putBack)
    {
        var mesh = solid.Tree.Mesh;
        var surface = radiusMm > 0
            ? Surface(step, new LevelField(solid, levelMm, Thicker(step, solid, levelMm, radiusMm, cellMm, run)), levelMm, cellMm, run)
            : Surface(step, new LevelField(solid, levelMm), levelMm, cellMm, run);
        (var level, putBack) = Untangle.Apply(step, surface, mesh.OriginMm, run);
        var origins = new Origin[level.TriangleCount];
        Array.Fill(origins, Origin.Offset);
        return new(level.OriginMm, level.PositionArray, level.TriangleArray, origins);
    }

    private static Rounding Thicker(string step, SheetSide solid, double levelMm, double radiusMm, double cellMm, RunContext run)
    {
        var thickerMm = levelMm + (Math.Sign(levelMm) * radiusMm);
        return new(Surface(step, new LevelField(solid, thickerMm), thickerMm, cellMm, run).Walls(solid.Tree.Mesh.OriginMm, _ => true), radiusMm, run);
    }

    private static SparseSurface Surface(string step, LevelField field, double levelMm, double cellMm, RunContext run)
    {
        var mesh = field.Mesh;
        var bounds = mesh.BoundsMm();
        var box = new Box3(bounds.Min - mesh.OriginMm, bounds.Max - mesh.OriginMm).Grown(Math.Max(0, levelMm) + cellMm);
        using var grid = SparseGrid.Sample(step, field, box, MeshMeasures.AreaMm2(mesh, run), cellMm, run);
        return SparseSurface.Extract(grid, field, run);
    }
}
