using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Phantoms.Scenes;
using AnatomyPrep.Phantoms.Solids;

namespace AnatomyPrep.Phantoms.Catalogue;

/// <summary>A skull as a teaching department would ask for it, from some two hundred analytic solids.</summary>
/// <remarks>
/// LPS, mm; the eye-ear plane lies near z = -30, the face looks towards -y. Sizes are those of an adult dry skull
/// (length 165 to 195, breadth 130 to 150 mm). At 300 HU there are six solids: skull with upper teeth, lower jaw with
/// lower teeth, and four neck vertebrae. Left and right are alike but for one missing lower tooth on the left.
/// </remarks>
internal static class TeachingSkullScene
{
    internal const int BonesAt300Hu = 6;

    private const double Air = -1000, Skin = 50, Brain = 38, Fluid = 6, Bone = 900, Enamel = 1900, Eye = 20, Fat = -80, Foam = -920, Rest = 120;

    internal static Scene Build()
    {
        var skull = TeachingSkullBones.Skull();
        var upper = TeachingSkullBones.UpperTeeth();
        var jaw = TeachingSkullBones.Jaw();
        var lower = TeachingSkullBones.LowerTeeth();
        return new Scene
        {
            Name = "teaching-skull",
            Purpose = "A skull with orbits, nose, air sinuses and teeth, a separate lower jaw and four neck vertebrae, in skin and on a headrest.",
            BackgroundHu = Air,
            RampHalfWidthMm = 0.75,
            Layers =
            [
                new Layer("headrest pad", Headrest(103.5, 111), Foam, Air),
                new Layer("headrest", Headrest(111, 115), Rest, Air),
                new Layer("skin", TeachingSkullBody.Skin(), Skin, Air),
                new Layer("airway", TeachingSkullBody.Airway(), Air, Skin),
                new Layer("orbital fat", TeachingSkullBody.OrbitalFat(), Fat, Skin),
                new Layer("eyes", Pair(side => new Sphere(new Vec3(side * 32, -78, -23), 12)), Eye, Fat),
                new Layer("brain", TeachingSkullBones.Cavity(), Brain, Bone),
                new Layer("fluid spaces", TeachingSkullBody.FluidSpaces(), Fluid, Brain),
                new Layer("upper teeth", upper, Enamel, Skin),
                new Layer("skull", skull, Bone, Skin),
                new Layer("lower teeth", lower, Enamel, Skin),
                new Layer("lower jaw", jaw, Bone, Skin),
                .. TeachingSkullBones.Vertebrae().Select((v, i) => new Layer(FormattableString.Invariant($"neck vertebra {i + 1}"), v, Bone, Skin)),
                .. TeachingSkullBody.Sinuses().Select(s => new Layer(s.Name, s.Solid, Air, Bone)),
            ],
            FieldOfViewMm = new Box3(new Vec3(-86, -122, -140), new Vec3(86, 119, 95)),
            Landmarks =
            [
                new Landmark("seed in the skull", new Vec3(0, -82, -7)),
                new Landmark("seed in the lower jaw", new Vec3(0, -92, -118)),
                new Landmark("left orbit", new Vec3(32, -78, -23)),
                new Landmark("right orbit", new Vec3(-32, -78, -23)),
            ],
            TruthLevelsHu = [300],
            StatedBodies = new Dictionary<double, int> { [300] = BonesAt300Hu },
            LayersApart = false,
        };
    }

    /// <summary>A solid at the left (+1) and its twin at the right (-1).</summary>
    internal static Union Pair(Func<int, Solid> of) => new(of(1), of(-1));

    /// <summary>A trough behind the head: a stretch of a cylinder wall along the table.</summary>
    private static Intersection Headrest(double innerRadiusMm, double outerRadiusMm) => new(
        new Difference(
            new CappedCylinder(outerRadiusMm, 150).MovedBy(new Vec3(0, 0, 10)),
            new CappedCylinder(innerRadiusMm, 200).MovedBy(new Vec3(0, 0, 10))),
        new HalfSpace(new Vec3(0, 78, 0), new Vec3(0, -1, 0)));
}
