using AnatomyPrep.Core.Running;
using AnatomyPrep.Phantoms.Solids;

namespace AnatomyPrep.Phantoms.Scenes;

/// <summary>What is true of a scene's surface at one level: each surface, and the whole where the layers keep apart.</summary>
/// <param name="VolumeMm3">Of everything at or above the level; null where layers overlap.</param>
/// <param name="Euler">Of all surfaces together; null where not in closed form.</param>
/// <param name="Bodies">Separate solids at or above the level; null where unknown.</param>
public sealed record SceneTruth(
    double LevelHu,
    IReadOnlyList<SurfaceTruth> Surfaces,
    double? VolumeMm3,
    double? AreaMm2,
    int? Euler,
    int? Bodies)
{
    private const double IntegrationCellMm = 1.5;

    public static SceneTruth At(Scene scene, double levelHu, RunContext run)
    {
        var surfaces = scene.Layers
            .Where(layer => Scene.Crosses(layer, levelHu) && !scene.Gone(layer, levelHu))
            .Select(layer => Surface(scene, layer, levelHu, run))
            .ToArray();
        // A surface that adds to the solid bounds one body from outside; a cavity lies within a body that is counted.
        int? bodies = scene.StatedBodies.TryGetValue(levelHu, out var stated)
            ? stated
            : scene.LayersApart && surfaces.All(s => s.Bodies is not null) ? surfaces.Where(s => s.SolidSide > 0).Sum(s => s.Bodies!.Value) : null;
        return scene.LayersApart
            ? new SceneTruth(
                levelHu,
                surfaces,
                surfaces.Sum(s => s.SolidSide * s.VolumeMm3),
                surfaces.All(s => s.AreaMm2 is not null) ? surfaces.Sum(s => s.AreaMm2!.Value) : null,
                surfaces.All(s => s.Euler is not null) ? surfaces.Sum(s => s.Euler!.Value) : null,
                bodies)
            : new SceneTruth(levelHu, surfaces, null, null, null, bodies);
    }

    private static SurfaceTruth Surface(Scene scene, Layer layer, double levelHu, RunContext run)
    {
        var offset = Ramp.OffsetMm(levelHu, layer.InsideHu, layer.OutsideHu, scene.RampHalfWidthMm);
        var side = layer.InsideHu > layer.OutsideHu ? 1 : -1;
        if (layer.Solid.ClosedForm(offset) is { } known)
            return new SurfaceTruth(layer.Name, offset, side, known.VolumeMm3, 0, known.AreaMm2, known.Euler, known.Bodies);
        var (volume, uncertainty) = VolumeIntegral.Of(layer.Solid, offset, IntegrationCellMm, run);
        return new SurfaceTruth(layer.Name, offset, side, volume, uncertainty, null, null, null);
    }
}
