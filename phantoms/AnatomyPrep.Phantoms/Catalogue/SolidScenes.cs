using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Phantoms.Scenes;
using AnatomyPrep.Phantoms.Solids;

namespace AnatomyPrep.Phantoms.Catalogue;

/// <summary>One solid of bone in water: the shapes whose measures every handbook has.</summary>
internal static class SolidScenes
{
    /// <summary>Off every grid, so that no sample lies on a plane of symmetry.</summary>
    private static readonly Vec3 s_offGrid = new(0.13, -0.21, 0.37);

    internal static Scene SphereInWater() => Single("sphere-in-water", "A ball of 20 mm radius in water.", new Sphere(Vec3.Zero, 20));

    internal static Scene Ellipsoid() => Single("ellipsoid", "An ellipsoid with semi-axes 30, 20 and 10 mm.", new Ellipsoid(Vec3.Zero, new Vec3(30, 20, 10)));

    internal static Scene Torus() => Single("torus", "A ring of radius 30 mm with a tube of radius 10 mm: one handle.", new Torus(30, 10));

    internal static Scene Capsule() => Single("capsule", "A rod of radius 10 mm with round ends, 40 mm straight.", new Capsule(new Vec3(0, 0, -20), new Vec3(0, 0, 20), 10));

    internal static Scene Cylinder() => Single("cylinder", "A cylinder of radius 10 and height 40 mm, flat ends.", new CappedCylinder(10, 40));

    internal static Scene Frustum() => Single("frustum", "A cone cut off: radii 20 and 10 mm, height 30 mm.", new Frustum(20, 10, 30).MovedBy(new Vec3(0, 0, -15)));

    internal static Scene DrilledPlate() => Single("drilled-plate", "A plate 40 by 40 by 10 mm with a hole of radius 5 mm: one handle.", new DrilledPlate(new Vec3(40, 40, 10), 5));

    /// <summary>A wide edge, so that a change of level moves the surface by a known way: 8 mm for 1000 HU.</summary>
    internal static Scene LinearBlock() => Single(
        "linear-block",
        "A block of 40 mm with edges 8 mm wide, turned against the grid: 50 HU move its faces by 0.4 mm.",
        new Box(Vec3.Zero, new Vec3(40, 40, 40)).Turned(new Vec3(1, 2, 3), 12)) with
    { RampHalfWidthMm = 4, TruthLevelsHu = [450, 500, 550] };

    internal static Scene Shells()
    {
        Layer Shell(double outer, double inner) =>
            new(FormattableString.Invariant($"shell {outer}/{inner} mm"), new SphericalShell(s_offGrid, outer, inner), 1000, 0);
        return new Scene
        {
            Name = "shells",
            Purpose = "Balls within balls: hollow spheres with walls of 5, 3, 2 and 1 mm around a solid core.",
            BackgroundHu = 0,
            RampHalfWidthMm = 1,
            Layers = [Shell(50, 45), Shell(38, 35), Shell(28, 26), Shell(20, 19), new Layer("core", new Sphere(s_offGrid, 10), 1000, 0)],
            FieldOfViewMm = new Box3(s_offGrid, s_offGrid).Grown(54),
            // The wall of 1 mm peaks at 500 HU: there at the first level, gone at the second.
            TruthLevelsHu = [300, 600],
        };
    }

    private static Scene Single(string name, string purpose, Solid solid)
    {
        var placed = solid.MovedBy(s_offGrid);
        return new Scene
        {
            Name = name,
            Purpose = purpose,
            BackgroundHu = 0,
            RampHalfWidthMm = 2,
            Layers = [new Layer(name, placed, 1000, 0)],
            FieldOfViewMm = placed.BoundsMm.Grown(5),
            TruthLevelsHu = [300, 500],
        };
    }
}
