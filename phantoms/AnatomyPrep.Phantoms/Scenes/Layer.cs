using AnatomyPrep.Phantoms.Solids;

namespace AnatomyPrep.Phantoms.Scenes;

/// <summary>One material in a scene, painted over everything listed before it.</summary>
/// <param name="OutsideHu">What the solid lies in; states the truth of its surface, the picture follows from the layers below.</param>
public sealed record Layer(string Name, Solid Solid, double InsideHu, double OutsideHu)
{
    /// <summary>Of the whole solid; a copy that holds only the part of it that matters in some place keeps it.</summary>
    public double ThinnestMm { get; } = Solid.ThinnestMm;
}
