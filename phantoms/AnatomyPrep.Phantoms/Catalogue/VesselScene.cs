using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Phantoms.Scenes;
using AnatomyPrep.Phantoms.Solids;

namespace AnatomyPrep.Phantoms.Catalogue;

/// <summary>Vessels filled with contrast in fat, with a bone of higher value beside them.</summary>
internal static class VesselScene
{
    private const double Fat = -90, Wall = 70, Contrast = 400, Bone = 900;

    internal static Scene Build()
    {
        Vec3 from = new(-14, -8, -30), to = new(12, 10, 30), ring = new(0, 1, 0), bone = new(34, -20, 0);
        Solid Ring(double radius) => new Torus(24, radius).Turned(new Vec3(1, 0, 0), 78).MovedBy(ring + new Vec3(2, 40, 0));
        return new Scene
        {
            Name = "vessel",
            Purpose = "A straight slanting vessel with a lumen of 4 mm radius, a vessel ring with a lumen of 3 mm radius, both with 1.5 mm walls and contrast, and a bone.",
            BackgroundHu = Fat,
            RampHalfWidthMm = 0.6,
            Layers =
            [
                new Layer("straight vessel", new Capsule(from, to, 5.5), Wall, Fat),
                new Layer("straight lumen", new Capsule(from, to, 4), Contrast, Wall),
                new Layer("ring vessel", Ring(4.5), Wall, Fat),
                new Layer("ring lumen", Ring(3), Contrast, Wall),
                new Layer("bone", new CappedCylinder(8, 50).MovedBy(bone), Bone, Fat),
            ],
            FieldOfViewMm = new Box3(new Vec3(-34, -34, -39), new Vec3(46, 54, 39)),
            Landmarks =
            [
                new Landmark("one end of the straight lumen", from),
                new Landmark("other end of the straight lumen", to),
                new Landmark("middle of the ring", ring + new Vec3(2, 40, 0)),
                new Landmark("middle of the bone", bone),
            ],
            TruthLevelsHu = [-10, 235],
        };
    }
}
