using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Phantoms.Scenes;
using AnatomyPrep.Phantoms.Solids;

namespace AnatomyPrep.Phantoms.Catalogue;

/// <summary>Two bones that touch in a small neck, and one threshold that cannot part them.</summary>
internal static class TouchingBonesScene
{
    internal static Scene Build()
    {
        Vec3 first = new(-14, -8.5, -6), second = new(14, 8.5, 6.16);
        return new Scene
        {
            Name = "touching-bones",
            Purpose = "Two balls of bone of 18 mm radius whose surfaces run into each other in a neck: one solid that is two bones.",
            BackgroundHu = 40,
            RampHalfWidthMm = 1.5,
            Layers = [new Layer("bones", new SpherePair(first, second, 18), 1000, 40)],
            FieldOfViewMm = new Box3(first, first).Including(second).Grown(22),
            Landmarks = [new Landmark("middle of the first bone", first), new Landmark("middle of the second bone", second), new Landmark("contact", (first + second) / 2)],
            TruthLevelsHu = [300, 520],
        };
    }
}
