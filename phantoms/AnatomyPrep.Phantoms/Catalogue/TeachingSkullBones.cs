using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Phantoms.Solids;

namespace AnatomyPrep.Phantoms.Catalogue;

/// <summary>The bones of the teaching skull. Coordinates as in <see cref="TeachingSkullScene"/>; "side" is +1 left, -1 right.</summary>
internal static class TeachingSkullBones
{
    /// <summary>Where the teeth stand, from the middle to the back, on the left.</summary>
    private static readonly (double X, double Y)[] s_arch = [(3.9, -96), (11.2, -93.4), (17.5, -88.2), (21.8, -81), (24.8, -73), (27, -64), (28.6, -54.5), (29.8, -45)];

    private static readonly double[] s_toothRadiiMm = [3.5, 3.3, 3.4, 3.4, 3.5, 4.3, 4.4, 4.2];

    /// <summary>Lower border of the lower jaw, from the chin to the angle, on the left.</summary>
    private static readonly (double X, double Y)[] s_jawLine = [(0, -94), (12, -91), (22, -82), (30, -67), (36, -52), (41, -37), (44, -24)];

    /// <summary>The outside of the brain case, without face and base.</summary>
    internal static Solid BrainCase()
    {
        var vault = new Ellipsoid(new Vec3(0, 18, 22), new Vec3(69, 79, 58));
        var forehead = new Ellipsoid(new Vec3(0, -28, 16), new Vec3(51, 57, 54));
        var temples = new Ellipsoid(new Vec3(0, 10, -20), new Vec3(63, 46, 27));
        return new Blend(new Blend(vault, forehead, 40), temples, 24);
    }

    internal static Solid Orbit(int side) => new Blend(
        new Ellipsoid(Vec3.Zero, new Vec3(19, 27, 16.5)).Turned(new Vec3(0, 0, 1), side * -22).MovedBy(new Vec3(side * 32, -77, -23)),
        new Capsule(new Vec3(side * 24, -60, -25), new Vec3(side * 9, -34, -27), 3.5),
        6);

    internal static Solid NasalCavity() => new Blend(
        new Ellipsoid(new Vec3(0, -74, -57), new Vec3(13.5, 36, 9)),
        new Ellipsoid(new Vec3(0, -78, -44), new Vec3(8, 30, 15)),
        6);

    /// <summary>The room for the brain: 6 mm within the case, less what rises into it from below.</summary>
    internal static Solid Cavity() => new Difference(
        new Offset(BrainCase(), -6),
        new Union(
            TeachingSkullScene.Pair(side => new Offset(Orbit(side), 3)),
            TeachingSkullScene.Pair(Petrous),
            Sphenoid(),
            new Offset(NasalCavity(), 3),
            Brow()),
        4);

    internal static Solid Skull()
    {
        Solid bone = new Blend(BrainCase(), Sphenoid(), 8);
        bone = new Blend(bone, Brow(), 14);
        bone = new Blend(bone, TeachingSkullScene.Pair(Maxilla), 10);
        bone = new Blend(bone, TeachingSkullScene.Pair(Cheek), 9);
        bone = new Blend(bone, TeachingSkullScene.Pair(GreaterWing), 5);
        bone = new Blend(bone, TeachingSkullScene.Pair(EarBone), 6);
        bone = new Blend(bone, TeachingSkullScene.Pair(Arch), 5);
        bone = new Blend(bone, Alveolar(z: -77, radius: 6.2), 6);
        bone = new Union(bone, Palate(), TeachingSkullScene.Pair(Pterygoid));
        bone = new Difference(bone, Cavity());
        bone = new Difference(bone, TeachingSkullScene.Pair(Orbit), 3);
        bone = new Difference(bone, NasalCavity(), 2);
        bone = new Difference(bone, Passages());
        return new Union(bone, NasalBones(), Septum());
    }

    /// <summary>What stands out of the face, before anything is taken away.</summary>
    internal static Solid Face() => new Union(Brow(), TeachingSkullScene.Pair(Cheek), TeachingSkullScene.Pair(Arch), NasalBones(), Jaw());

    internal static Solid UpperTeeth() => Teeth(rootZ: -76, biteZ: -91, missingLeft: -1);

    internal static Solid LowerTeeth() => Teeth(rootZ: -108, biteZ: -95.5, missingLeft: 4);

    internal static Solid Jaw()
    {
        var chin = new Ellipsoid(new Vec3(0, -96, -120), new Vec3(11, 7, 7.5));
        Solid jaw = new Blend(TeachingSkullScene.Pair(JawBody), chin, 10);
        jaw = new Blend(jaw, Alveolar(z: -106.5, radius: 5.4), 6);
        return new Blend(jaw, TeachingSkullScene.Pair(Ramus), 10);
    }

    internal static IReadOnlyList<Solid> Vertebrae() => [Atlas(), Axis(), Vertebra(26, -103), Vertebra(24, -123)];

    private static Solid Sphenoid() => new Blend(
        new Ellipsoid(new Vec3(0, -32, -38), new Vec3(24, 24, 15)),
        new Capsule(new Vec3(0, -20, -38), new Vec3(0, 11, -44), 10),
        8);

    private static Solid Petrous(int side) => new Capsule(new Vec3(side * 20, -2, -32), new Vec3(side * 58, 16, -30), 9);

    private static Solid Brow() => new Union(
        new Ellipsoid(new Vec3(0, -84, -4), new Vec3(19, 9.5, 10)),
        TeachingSkullScene.Pair(side => new Blend(
            new Blend(
                new Capsule(new Vec3(side * 10, -85, -5), new Vec3(side * 32, -84, 0), 6.5),
                new Capsule(new Vec3(side * 32, -84, 0), new Vec3(side * 51, -69, -9), 6),
                8),
            new Capsule(new Vec3(side * 51, -69, -9), new Vec3(side * 54, -64, -38), 5),
            8)));

    /// <summary>The wall between orbit and temple.</summary>
    private static Union GreaterWing(int side) => new(Sheet(
        new Vec3(side * 51, -68, -8), new Vec3(side * 53, -64, -36), new Vec3(side * 36, -34, -42), new Vec3(side * 44, -30, -6), 3.2));

    private static Solid Maxilla(int side) => new Blend(
        new Ellipsoid(new Vec3(side * 20, -66, -56), new Vec3(21, 23, 26)),
        new Capsule(new Vec3(side * 10, -86, -22), new Vec3(side * 15, -84, -52), 5),
        6);

    private static Solid Cheek(int side) => new Blend(
        new Capsule(new Vec3(side * 14, -82, -40), new Vec3(side * 36, -81, -45), 5),
        new Union(
            new RoundedTriangle(new Vec3(side * 33, -82, -45), new Vec3(side * 55, -65, -39), new Vec3(side * 38, -72, -64), 5.5),
            new RoundedTriangle(new Vec3(side * 55, -65, -39), new Vec3(side * 38, -72, -64), new Vec3(side * 57, -57, -48), 5.2)),
        6);

    private static Solid Arch(int side) => new Blend(
        new Blend(
            new RoundedTriangle(new Vec3(side * 56, -62, -42), new Vec3(side * 57, -58, -48), new Vec3(side * 66, -36, -41), 3.8),
            new Capsule(new Vec3(side * 66, -38, -41), new Vec3(side * 67, -14, -38), 3.7),
            6),
        new RoundedTriangle(new Vec3(side * 67, -14, -38), new Vec3(side * 59, 4, -34), new Vec3(side * 58, -8, -28), 3.8),
        6);

    private static Solid EarBone(int side) => new Union(
        Petrous(side),
        new Ellipsoid(new Vec3(side * 55, 20, -44), new Vec3(10, 12, 17)),
        new Capsule(new Vec3(side * 44, 11, -42), new Vec3(side * 37, 5, -66), 2.2));

    private static Solid Pterygoid(int side) => new Union(
        new RoundedTriangle(new Vec3(side * 12, -44, -44), new Vec3(side * 16, -32, -46), new Vec3(side * 19, -37, -73), 2.4),
        new RoundedTriangle(new Vec3(side * 12, -44, -44), new Vec3(side * 14, -50, -70), new Vec3(side * 19, -37, -73), 2.4));

    private static Solid Palate() => new Ellipsoid(new Vec3(0, -66, -72), new Vec3(27, 27, 5));

    /// <summary>Openings of the base and the ear: foramen magnum, ear canals, carotid-like canals.</summary>
    private static Solid Passages() => new Union(
        new Capsule(new Vec3(0, 32, -80), new Vec3(0, 36, -16), 15),
        TeachingSkullScene.Pair(side => new Capsule(new Vec3(side * 90, 12, -32), new Vec3(side * 50, 11, -32), 3.6)),
        TeachingSkullScene.Pair(side => new Capsule(new Vec3(side * 20, -14, -60), new Vec3(side * 22, -16, -20), 2.6)));

    private static Solid NasalBones() => TeachingSkullScene.Pair(side => new RoundedTriangle(
        new Vec3(side * 1.5, -90, -8),
        new Vec3(side * 2, -101, -34),
        new Vec3(side * 9, -88, -32),
        2.4));

    private static Union Septum() => new(Sheet(new Vec3(0.6, -88, -67), new Vec3(0.4, -50, -67), new Vec3(-0.4, -54, -34), new Vec3(-0.6, -86, -32), 1));

    private static Union Alveolar(double z, double radius) => TeachingSkullScene.Pair(side => new Union(
    [
        .. s_arch.Zip(s_arch.Skip(1), (a, b) => new Capsule(new Vec3(side * a.X, a.Y + 1.5, z), new Vec3(side * b.X, b.Y + 1.5, z), radius)),
        new Capsule(new Vec3(0, s_arch[0].Y + 1.5, z), new Vec3(side * s_arch[0].X, s_arch[0].Y + 1.5, z), radius),
    ]));

    /// <summary>One rod a tooth; all end on the bite plane, whatever their width.</summary>
    private static Union Teeth(double rootZ, double biteZ, int missingLeft)
    {
        var teeth = new List<Solid>();
        for (var i = 0; i < s_arch.Length; i++)
            foreach (var side in (ReadOnlySpan<int>)[1, -1])
                if (side < 0 || i != missingLeft)
                    teeth.Add(new Capsule(
                        new Vec3(side * s_arch[i].X, s_arch[i].Y + 1.5, rootZ),
                        new Vec3(side * s_arch[i].X, s_arch[i].Y, biteZ - (Math.Sign(biteZ - rootZ) * s_toothRadiiMm[i])),
                        s_toothRadiiMm[i]));
        return new Union(teeth);
    }

    /// <summary>Half of the body of the lower jaw: upright under the teeth, leaning outwards at its lower border.</summary>
    private static Union JawBody(int side)
    {
        var parts = new List<Solid>();
        for (var i = 0; i + 1 < s_jawLine.Length; i++)
        {
            var (a, b) = (s_jawLine[i], s_jawLine[i + 1]);
            Vec3 low = new(side * a.X, a.Y, -123 + (i * 1.7)), nextLow = new(side * b.X, b.Y, -123 + ((i + 1) * 1.7));
            Vec3 high = new(side * a.X * 0.86, a.Y + 1, -108), nextHigh = new(side * b.X * 0.86, b.Y + 1, -108);
            parts.AddRange(Sheet(low, nextLow, nextHigh, high, 5.2));
        }

        return new Union(parts);
    }

    private static Solid Ramus(int side)
    {
        Vec3 angle = new(side * 45, -22, -111), front = new(side * 41, -45, -106), coronoid = new(side * 46.5, -42, -58);
        Vec3 notch = new(side * 47.5, -30, -70), neck = new(side * 49, -15, -56), middle = new(side * 45.5, -34, -88);
        var sheet = new Union(
            new RoundedTriangle(angle, front, middle, 4),
            new RoundedTriangle(front, coronoid, middle, 3.4),
            new RoundedTriangle(coronoid, notch, middle, 3),
            new RoundedTriangle(notch, neck, middle, 3),
            new RoundedTriangle(neck, angle, middle, 3.8));
        return new Blend(sheet, new Capsule(new Vec3(side * 46, -13, -47), new Vec3(side * 55.5, -14.5, -47), 4.4), 9);
    }

    private static Solid[] Sheet(Vec3 a, Vec3 b, Vec3 c, Vec3 d, double radius) => [new RoundedTriangle(a, b, c, radius), new RoundedTriangle(a, c, d, radius)];

    private static Union Atlas() => new(
        new Torus(17, 4.6).MovedBy(new Vec3(0, 36, -64)),
        TeachingSkullScene.Pair(side => new Ellipsoid(new Vec3(side * 19, 31, -64), new Vec3(8, 10, 8))),
        TeachingSkullScene.Pair(side => new Capsule(new Vec3(side * 20, 34, -64), new Vec3(side * 37, 36, -65), 4)));

    private static Union Axis() => new(
        new CappedCylinder(9, 14).MovedBy(new Vec3(0, 30, -84)),
        new Capsule(new Vec3(0, 31, -80), new Vec3(0, 31.5, -60), 4),
        NeuralArch(30, -84));

    private static Union Vertebra(double y, double z) => new(new CappedCylinder(9.5, 12).MovedBy(new Vec3(0, y, z)), NeuralArch(y, z));

    private static Union NeuralArch(double y, double z) => new(
        new Torus(12.5, 3.8).MovedBy(new Vec3(0, y + 15, z)),
        TeachingSkullScene.Pair(side => new Capsule(new Vec3(side * 9, y + 4, z), new Vec3(side * 25, y + 8, z - 3), 4.2)),
        new Capsule(new Vec3(0, y + 28, z), new Vec3(0, y + 42, z - 6), 4.2));
}
