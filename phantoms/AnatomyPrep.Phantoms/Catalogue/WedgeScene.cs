using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Phantoms.Scenes;
using AnatomyPrep.Phantoms.Solids;

namespace AnatomyPrep.Phantoms.Catalogue;

/// <summary>A block that no mirror, turn or swap of axes maps onto itself, with letters that say which side is which.</summary>
/// <remarks>
/// Front face flat at y = 0 and facing forward (-y), thicker at the feet than at the head. On it stand a raised L at the
/// left (+x) and a raised R at the right (-x), to be read from in front. Both letters are chiral.
/// </remarks>
internal static class WedgeScene
{
    internal const double RaisedMm = 4;
    internal const double SunkMm = 2;
    internal static readonly Vec3 s_leftCornerMm = new(14, 0, 16);
    internal static readonly Vec3 s_rightCornerMm = new(-31, 0, 16);

    internal static IReadOnlyList<IReadOnlyList<(double X, double Y)>> LetterL { get; } =
        [[(0, 0), (14, 0), (14, 5), (5, 5), (5, 24), (0, 24)]];

    internal static IReadOnlyList<IReadOnlyList<(double X, double Y)>> LetterR { get; } =
    [
        [(0, 0), (5, 0), (5, 9), (7.5, 9), (11.5, 0), (17, 0), (12.6, 10), (16, 13), (16, 21), (13, 24), (0, 24)],
        [(5, 13.5), (11, 13.5), (11, 19.5), (5, 19.5)],
    ];

    internal static Prism Body { get; } = Prism.Wedge(56, 26, 10, 84);

    internal static Scene Build()
    {
        var block = new Union(
            // Length of the ramp along z, thickness along y, width along x.
            new Placed(Body, new Affine3(new Vec3(0, 0, 1), new Vec3(0, 1, 0), new Vec3(-1, 0, 0), Vec3.Zero)),
            Letter(LetterL, s_leftCornerMm),
            Letter(LetterR, s_rightCornerMm));
        return new Scene
        {
            Name = "wedge",
            Purpose = "A ramp of bone, thick at the feet, with a raised L on its left and a raised R on its right, readable from in front.",
            BackgroundHu = 0,
            RampHalfWidthMm = 2,
            Layers = [new Layer("wedge", block, 1000, 0)],
            FieldOfViewMm = block.BoundsMm.Grown(5),
            Landmarks =
            [
                new Landmark("upright of the left mark", s_leftCornerMm + new Vec3(2.5, -RaisedMm / 2, 12)),
                new Landmark("upright of the right mark", s_rightCornerMm + new Vec3(2.5, -RaisedMm / 2, 12)),
                new Landmark("thick end", new Vec3(0, 13, 0)),
            ],
            TruthLevelsHu = [300, 500],
        };
    }

    /// <summary>A letter on the front face: its right is the patient's left (+x), its top is the head.</summary>
    private static Placed Letter(IReadOnlyList<IReadOnlyList<(double X, double Y)>> rings, Vec3 cornerMm) => new(
        new Prism(rings, RaisedMm + SunkMm),
        new Affine3(new Vec3(1, 0, 0), new Vec3(0, 0, 1), new Vec3(0, -1, 0), cornerMm + new Vec3(0, (SunkMm - RaisedMm) / 2, 0)));
}
