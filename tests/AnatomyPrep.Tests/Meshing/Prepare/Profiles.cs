using AnatomyPrep.App.Pipeline;
using AnatomyPrep.Meshing.Prepare;

namespace AnatomyPrep.Tests.Meshing.Prepare;

/// <summary>Profiles that tests measure with.</summary>
internal static class Profiles
{
    public static PrintProfile Extrusion => ProfileLibrary.Load("extrusion").Profile;

    public static PrintProfile Vat => ProfileLibrary.Load("vat").Profile;

    public static PrintProfile Powder => ProfileLibrary.Load("powder").Profile;

    /// <summary>Nothing but the space that support takes counts.</summary>
    public static PrintProfile LeastSupport => Extrusion with { Weights = new(1e-3, 1, 1e-6, 1e-6, 0, 0) };
}
