using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Phantoms.Solids;

namespace AnatomyPrep.Phantoms.Catalogue;

/// <summary>What surrounds and fills the teaching skull. Coordinates as in <see cref="TeachingSkullScene"/>.</summary>
internal static class TeachingSkullBody
{
    internal static Solid Skin()
    {
        Solid head = new Offset(TeachingSkullBones.BrainCase(), 6);
        head = new Blend(head, new Ellipsoid(new Vec3(0, -22, -44), new Vec3(77, 68, 46)), 16);
        head = new Blend(head, new Ellipsoid(new Vec3(0, -54, -62), new Vec3(56, 50, 56)), 16);
        head = new Blend(head, new Ellipsoid(new Vec3(0, -52, -22), new Vec3(60, 42, 36)), 24);
        head = new Blend(head, new Ellipsoid(new Vec3(0, -46, -102), new Vec3(54, 58, 34)), 22);
        head = new Blend(head, new Ellipsoid(new Vec3(0, -92, -120), new Vec3(17, 15, 13)), 18);
        head = new Blend(head, new Ellipsoid(new Vec3(0, -99, -92), new Vec3(20, 7.5, 9)), 12);
        head = new Blend(head, new Capsule(new Vec3(0, 26, -94), new Vec3(0, 30, -230), 56), 26);
        head = new Blend(head, Nose(), 10);
        head = new Blend(head, new Offset(TeachingSkullBones.Face(), 3.5), 18);
        head = new Blend(head, TeachingSkullScene.Pair(side => new Sphere(new Vec3(side * 32, -77, -23), 16)), 12);
        return new Blend(head, TeachingSkullScene.Pair(side => new Ellipsoid(new Vec3(side * 76, 14, -30), new Vec3(6, 15, 27))), 6);
    }

    internal static Solid Airway()
    {
        Solid air = new Blend(TeachingSkullBones.NasalCavity(), new Capsule(new Vec3(0, -46, -58), new Vec3(0, -20, -62), 9), 8);
        air = new Blend(air, new Capsule(new Vec3(0, -18, -62), new Vec3(0, -8, -100), 8), 8);
        air = new Blend(air, new Capsule(new Vec3(0, -8, -100), new Vec3(0, -8, -230), 8.5), 8);
        return new Union(air, TeachingSkullScene.Pair(side => new Capsule(new Vec3(side * 5, -100, -57), new Vec3(side * 6, -108, -66), 3.4)));
    }

    /// <summary>What fills the orbits, behind closed lids.</summary>
    internal static Solid OrbitalFat() => new Intersection(TeachingSkullScene.Pair(TeachingSkullBones.Orbit), new Offset(Skin(), -3));

    internal static Solid FluidSpaces() => TeachingSkullScene.Pair(side => new Blend(
        new Capsule(new Vec3(side * 9, -22, 30), new Vec3(side * 13, 26, 34), 5),
        new Capsule(new Vec3(side * 13, 26, 34), new Vec3(side * 24, 48, 14), 5),
        6));

    internal static IEnumerable<(string Name, Solid Solid)> Sinuses()
    {
        foreach (var (name, side) in ((string, int)[])[("left", 1), ("right", -1)])
        {
            yield return ($"{name} cheek sinus", new Ellipsoid(new Vec3(side * 26.5, -64, -57), new Vec3(9, 14, 12)));
            yield return ($"{name} forehead sinus", new Ellipsoid(new Vec3(side * 8, -85, -3), new Vec3(5, 4.5, 6)));
            yield return ($"{name} wedge bone sinus", new Ellipsoid(new Vec3(side * 7.5, -36, -39), new Vec3(5.5, 10, 8)));
        }
    }

    private static Solid Nose() => new Blend(
        new Blend(new Capsule(new Vec3(0, -97, -12), new Vec3(0, -110, -48), 5.5), new Sphere(new Vec3(0, -109, -52), 7.5), 6),
        TeachingSkullScene.Pair(side => new Sphere(new Vec3(side * 9, -101, -55), 7)),
        6);
}
