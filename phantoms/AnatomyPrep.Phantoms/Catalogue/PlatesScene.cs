using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Phantoms.Scenes;
using AnatomyPrep.Phantoms.Solids;

namespace AnatomyPrep.Phantoms.Catalogue;

/// <summary>Thin plates of bone in soft tissue: what a threshold keeps of an orbital floor.</summary>
internal static class PlatesScene
{
    private static readonly double[] s_thicknessesMm = [0.5, 0.8, 1, 2, 3];

    internal static Scene Build() => new()
    {
        Name = "plates",
        Purpose = "Five upright plates of bone, 0.5, 0.8, 1, 2 and 3 mm thick, a little askew to the grid, in soft tissue.",
        BackgroundHu = 40,
        RampHalfWidthMm = 0.6,
        Layers =
        [
            .. s_thicknessesMm.Select((thickness, i) => new Layer(
                FormattableString.Invariant($"plate {thickness} mm"),
                new Plate(Vec3.Zero, new Vec3(thickness, 30, 24)).Turned(new Vec3(0, 0, 1), 8).MovedBy(At(i)),
                1200,
                40)),
        ],
        FieldOfViewMm = new Box3(new Vec3(-31, -20, -16), new Vec3(31, 20, 16)),
        Landmarks = [.. s_thicknessesMm.Select((thickness, i) => new Landmark(FormattableString.Invariant($"middle of plate {thickness} mm"), At(i)))],
        TruthLevelsHu = [226, 300, 400, 620],
    };

    private static Vec3 At(int plate) => new((plate - 2) * 11.3, 0.11, -0.17);
}
