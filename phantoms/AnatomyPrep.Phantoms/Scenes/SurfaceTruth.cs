namespace AnatomyPrep.Phantoms.Scenes;

/// <summary>What is true of one layer's surface at one level.</summary>
/// <param name="OffsetMm">From the nominal surface, positive outside the layer's solid.</param>
/// <param name="SolidSide">+1 where the layer is the brighter side and adds to the solid, −1 where it is a cavity.</param>
/// <param name="UncertaintyMm3">0 for a closed form; else the difference between two integrations.</param>
/// <param name="AreaMm2">Null where only the volume is known.</param>
/// <param name="Euler">Null where not known in closed form.</param>
/// <param name="Bodies">Null where not known in closed form.</param>
public sealed record SurfaceTruth(
    string Layer,
    double OffsetMm,
    int SolidSide,
    double VolumeMm3,
    double UncertaintyMm3,
    double? AreaMm2,
    int? Euler,
    int? Bodies);
