using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Meshing.Prepare;

/// <summary>How a model lies, and what that costs.</summary>
/// <param name="Up">Direction of the model that points away from the bed.</param>
/// <param name="ContactMm2">Area that needs support; what lies on the bed does not.</param>
/// <param name="SupportMm3">Space below that area, down to the bed or to the model.</param>
/// <param name="StandingMm3">Part of it that stands on the model and not on the bed.</param>
/// <param name="HeightMm">Above the bed.</param>
/// <param name="ToppleDeg">How far the printed model with its support can be tilted before it falls over.</param>
/// <param name="ShadowedMm2">Part of the contact that no straight tool reaches from outside.</param>
/// <param name="KeptMm2">Part of the contact on surfaces that shall stay free.</param>
/// <param name="Score">Weighted sum; less is better.</param>
public sealed record Orientation(
    Vec3 Up, double ContactMm2, double SupportMm3, double StandingMm3, double HeightMm, double ToppleDeg, double ShadowedMm2, double KeptMm2, double Score)
{
    /// <summary>In no wish worse, and in one better.</summary>
    public bool Dominates(Orientation other) =>
        ContactMm2 <= other.ContactMm2 && SupportMm3 <= other.SupportMm3 && HeightMm <= other.HeightMm && ToppleDeg >= other.ToppleDeg
        && ShadowedMm2 <= other.ShadowedMm2 && KeptMm2 <= other.KeptMm2
        && (ContactMm2 < other.ContactMm2 || SupportMm3 < other.SupportMm3 || HeightMm < other.HeightMm || ToppleDeg > other.ToppleDeg
            || ShadowedMm2 < other.ShadowedMm2 || KeptMm2 < other.KeptMm2);
}
