using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Phantoms.Scenes;
using AnatomyPrep.Phantoms.Solids;

namespace AnatomyPrep.Phantoms.Catalogue;

/// <summary>A head of pure shapes, every surface in closed form: the phantom that a whole chain is judged by.</summary>
internal static class HeadScene
{
    private const double Air = -1000, Skin = 60, Bone = 1000, Brain = 40;

    internal static Scene Build()
    {
        var skull = new Ellipsoid(Vec3.Zero, new Vec3(68, 88, 78));
        Vec3 sinus = new(5, -42, -16), canal = new(-18, 22, 4);
        return new Scene
        {
            Name = "head",
            Purpose = "An egg-shaped skull 6 mm thick with brain, skin, a closed air sinus in bone and an open bony canal.",
            BackgroundHu = Air,
            RampHalfWidthMm = 2,
            Layers =
            [
                new Layer("skin", new Ellipsoid(Vec3.Zero, new Vec3(76, 96, 86)), Skin, Air),
                new Layer("skull outside", skull, Bone, Skin),
                new Layer("skull inside", new Offset(skull, -6), Brain, Bone),
                new Layer("sinus wall", new Sphere(sinus, 15), Bone, Brain),
                new Layer("sinus", new Sphere(sinus, 11), Air, Bone),
                new Layer("canal", new StadiumTube(8, 2.5, 50).MovedBy(canal), Bone, Brain),
            ],
            FieldOfViewMm = new Box3(Vec3.Zero, Vec3.Zero).Including(new Vec3(76, 96, 86)).Including(new Vec3(-76, -96, -86)).Grown(4),
            Landmarks = [new Landmark("middle of the sinus", sinus), new Landmark("middle of the canal", canal)],
            TruthLevelsHu = [-470, 300, 500],
        };
    }
}
