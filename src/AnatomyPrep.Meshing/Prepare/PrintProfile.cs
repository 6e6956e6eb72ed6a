using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Meshing.Prepare;

/// <summary>Process categories after ISO/ASTM 52900:2021 that models are made with.</summary>
public enum PrintProcess
{
    MaterialExtrusion,
    VatPhotopolymerization,
    PowderBedFusion,
    MaterialJetting,
}

/// <summary>What holds overhanging surfaces while they are made.</summary>
public enum SupportKind
{
    /// <summary>The loose powder around the part.</summary>
    Powder,

    /// <summary>The part's own material; broken or cut off.</summary>
    SameMaterial,

    /// <summary>A second material that a bath takes away.</summary>
    Soluble,

    /// <summary>A soft second material under and inside everything, washed or melted out.</summary>
    Gel,
}

/// <summary>How long a job takes: setup + layers × perLayer + material × perCm3.</summary>
/// <param name="SetupMin">Before the first layer and after the last: warming, cooling, unpacking.</param>
/// <param name="PerLayerS">Of every layer, whatever is in it.</param>
/// <param name="PerModelCm3Min">Of every cm³ of the part's material.</param>
/// <param name="PerSupportCm3Min">Of every cm³ of support.</param>
/// <param name="UncertaintyPercent">Half width of the band that the true time is expected in.</param>
public sealed record TimeModel(double SetupMin, double PerLayerS, double PerModelCm3Min, double PerSupportCm3Min, double UncertaintyPercent);

/// <summary>What each wish counts for when an orientation is chosen; only their ratios matter.</summary>
public sealed record OrientationWeights(double Contact, double Support, double Height, double Stability, double Shadowed, double Kept);

/// <summary>What a process can do and costs; generic, no machine's.</summary>
/// <param name="BuildVolumeMm">Width, depth and height that a part may have.</param>
/// <param name="LeastWallMm">Thinner walls break or are left out.</param>
/// <param name="LeastGapMm">Narrower gaps fuse.</param>
/// <param name="LeastNeckMm">A narrower connection between two masses breaks in the hand.</param>
/// <param name="OverhangLimitDeg">A surface steeper than this against the bed needs no support; 0 where nothing does.</param>
/// <param name="ShrinkPercent">What the material loses along x, y and z; the model is made larger by as much.</param>
/// <param name="SupportFill">Share of the space under an overhang that is filled with support material.</param>
/// <param name="ModelFill">Share of the part behind its <paramref name="SkinMm"/> that is filled.</param>
/// <param name="SkinMm">Thickness of the massive skin; counts only where <paramref name="ModelFill"/> is below 1.</param>
/// <param name="DrainMm">Diameter that powder, resin or gel leaves through.</param>
/// <param name="DrainsEach">Openings that a void needs.</param>
/// <param name="HangsFromPlate">The part is made upside down in a vat; what opens towards the plate lifts liquid.</param>
public sealed record PrintProfile(
    string Name,
    PrintProcess Process,
    string Material,
    Vec3 BuildVolumeMm,
    double LayerHeightMm,
    double LeastWallMm,
    double LeastGapMm,
    double LeastNeckMm,
    double OverhangLimitDeg,
    Vec3 ShrinkPercent,
    SupportKind Support,
    string SupportRemoval,
    double SupportFill,
    double ModelFill,
    double SkinMm,
    double DrainMm,
    int DrainsEach,
    bool HangsFromPlate,
    double DensityGPerCm3,
    double SupportDensityGPerCm3,
    double PriceEurPerKg,
    double SupportPriceEurPerKg,
    double PriceEurPerHour,
    TimeModel Time,
    OrientationWeights Weights)
{
    /// <summary>Longest part of a layer that may hang between two sides; null where the process carries everything, or the profile does not say.</summary>
    public double? BridgeMm { get; init; }

    /// <summary>Whether overhangs need anything at all.</summary>
    public bool NeedsSupport => Support != SupportKind.Powder;

    /// <summary>Whether something loose or liquid fills voids while the part is made.</summary>
    public bool FillsVoids => Process != PrintProcess.MaterialExtrusion || Support == SupportKind.Soluble;

    /// <summary>What stays in a closed void, in words.</summary>
    public string Filling => Process switch
    {
        PrintProcess.VatPhotopolymerization => "liquid resin",
        PrintProcess.PowderBedFusion => "powder",
        PrintProcess.MaterialJetting => "support gel",
        _ => Support == SupportKind.Soluble ? "soluble support" : "support",
    };

    /// <summary>Factor along each axis that makes up for the shrink.</summary>
    public Vec3 ScaleFor() => new(1 / (1 - (ShrinkPercent.X / 100)), 1 / (1 - (ShrinkPercent.Y / 100)), 1 / (1 - (ShrinkPercent.Z / 100)));
}
