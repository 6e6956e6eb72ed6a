using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Phantoms.Solids;

namespace AnatomyPrep.Phantoms.Scenes;

/// <summary>Materials in space: a value in HU for every point, LPS mm, known exactly.</summary>
/// <remarks>
/// Painted in order: each layer moves the value below towards its own by its share at the point
/// (<see cref="Ramp"/>). Where the edges of two layers keep at least 2W apart, each edge is the exact linear ramp
/// between its two materials.
/// </remarks>
public sealed record Scene
{
    public required string Name { get; init; }

    /// <summary>One sentence: what the scene shows and what it is for.</summary>
    public required string Purpose { get; init; }

    public required double BackgroundHu { get; init; }

    /// <summary>
    /// Half the width of every edge. Linear interpolation between samples h apart finds the surface of a level at offset d
    /// without bias where this is at least h + |d|, and at the middle of the edge always.
    /// </summary>
    public required double RampHalfWidthMm { get; init; }

    public required IReadOnlyList<Layer> Layers { get; init; }

    /// <summary>What a series should cover.</summary>
    public required Box3 FieldOfViewMm { get; init; }

    public IReadOnlyList<Landmark> Landmarks { get; init; } = [];

    /// <summary>Levels at which the sidecar states the truth.</summary>
    public required IReadOnlyList<double> TruthLevelsHu { get; init; }

    /// <summary>
    /// Number of separate solids at a level, where the scene states it itself because its layers overlap; else it
    /// follows from the layers.
    /// </summary>
    public IReadOnlyDictionary<double, int> StatedBodies { get; init; } = new Dictionary<double, int>();

    /// <summary>True when the edges of all layers keep 2W apart, so that sums over surfaces are truths of the whole.</summary>
    public bool LayersApart { get; init; } = true;

    public double HuAt(Vec3 pointMm)
    {
        var hu = BackgroundHu;
        foreach (var layer in Layers)
            hu = Paint(hu, layer, pointMm, RampHalfWidthMm);
        return hu;
    }

    /// <summary>
    /// The solid of everything at or above a level: its distance is that to the true surface, exact near surfaces where
    /// layers keep apart and have exact distances.
    /// </summary>
    /// <exception cref="InvalidOperationException">The background itself is at or above the level, or nothing is.</exception>
    public Solid SolidAt(double levelHu)
    {
        if (BackgroundHu >= levelHu)
            throw new InvalidOperationException("The background is inside at this level.");
        Solid? solid = null;
        foreach (var layer in Layers)
        {
            var brighter = layer.InsideHu >= levelHu;
            var edge = Crosses(layer, levelHu)
                ? new Offset(layer.Solid, Ramp.OffsetMm(levelHu, layer.InsideHu, layer.OutsideHu, RampHalfWidthMm))
                : layer.Solid;
            if (brighter && !(Crosses(layer, levelHu) && Gone(layer, levelHu)))
                solid = solid is null ? edge : new Union(solid, edge);
            else if (!brighter && solid is not null)
                solid = new Difference(solid, edge);
        }

        return solid ?? throw new InvalidOperationException("Nothing is inside at this level.");
    }

    /// <summary>The level lies strictly between a layer's two values.</summary>
    internal static bool Crosses(Layer layer, double levelHu) => (layer.InsideHu - levelHu) * (layer.OutsideHu - levelHu) < 0;

    /// <summary>The layer is a plate too thin for its blurred peak to reach the level.</summary>
    internal bool Gone(Layer layer, double levelHu) =>
        (levelHu - layer.OutsideHu) / (layer.InsideHu - layer.OutsideHu) >= Ramp.Peak(RampHalfWidthMm, layer.ThinnestMm);

    internal static double Paint(double belowHu, Layer layer, Vec3 pointMm, double rampHalfWidthMm)
    {
        var share = Ramp.Share(layer.Solid.DistanceMm(pointMm), rampHalfWidthMm, layer.ThinnestMm);
        // The two ends are taken as they are: below + (inside - below) need not round to inside.
        return share <= 0 ? belowHu : share >= 1 ? layer.InsideHu : belowHu + ((layer.InsideHu - belowHu) * share);
    }
}
