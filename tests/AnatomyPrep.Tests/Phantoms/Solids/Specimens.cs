using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Phantoms.Solids;

namespace AnatomyPrep.Tests.Phantoms.Solids;

/// <summary>One of every solid, for tests that hold for all of them.</summary>
internal static class Specimens
{
    private static readonly IReadOnlyList<IReadOnlyList<(double X, double Y)>> s_letter =
        [[(0, 0), (14, 0), (14, 5), (5, 5), (5, 24), (0, 24)]];

    /// <summary>Solids whose distance is the exact Euclidean one.</summary>
    internal static readonly Dictionary<string, Solid> Exact = new()
    {
        ["sphere"] = new Sphere(new Vec3(1, -2, 3), 10),
        ["shell"] = new SphericalShell(new Vec3(1, -2, 3), 14, 8),
        ["ellipsoid"] = new Ellipsoid(new Vec3(1, 2, 3), new Vec3(30, 20, 10)),
        ["ellipsoid, another order"] = new Ellipsoid(Vec3.Zero, new Vec3(9, 14, 21)),
        ["spheroid, two short axes"] = new Ellipsoid(Vec3.Zero, new Vec3(10, 10, 25)),
        ["spheroid, two long axes"] = new Ellipsoid(Vec3.Zero, new Vec3(25, 10, 25)),
        ["torus"] = new Torus(30, 10),
        ["stadium tube"] = new StadiumTube(14, 4, 30),
        ["capsule"] = new Capsule(new Vec3(-5, 3, -20), new Vec3(4, -2, 20), 10),
        ["rounded triangle"] = new RoundedTriangle(new Vec3(0, 0, 0), new Vec3(30, 4, -3), new Vec3(8, 22, 10), 5),
        ["cylinder"] = new CappedCylinder(10, 40),
        ["frustum"] = new Frustum(20, 10, 30),
        ["frustum, wide end up"] = new Frustum(8, 17, 25),
        ["box"] = new Box(new Vec3(3, 0, -1), new Vec3(20, 30, 12)),
        ["plate"] = new Plate(Vec3.Zero, new Vec3(3, 30, 24)),
        ["wedge"] = Prism.Wedge(56, 26, 10, 40),
        ["letter"] = new Prism(s_letter, 8),
        ["placed"] = new Ellipsoid(Vec3.Zero, new Vec3(30, 20, 10)).Turned(new Vec3(1, 2, 3), 40).MovedBy(new Vec3(5, 6, 7)),
        ["offset"] = new Offset(new Ellipsoid(Vec3.Zero, new Vec3(30, 25, 20)), -4),
    };

    /// <summary>Combinations, whose distance is a bound.</summary>
    internal static readonly Dictionary<string, Solid> Bounded = new()
    {
        ["sphere pair"] = new SpherePair(new Vec3(-5, 0, 0), new Vec3(5, 0, 0), 10),
        ["drilled plate"] = new DrilledPlate(new Vec3(40, 40, 10), 5),
        ["union"] = new Union(new Sphere(Vec3.Zero, 12), new Box(new Vec3(10, 0, 0), new Vec3(20, 6, 6)), new Torus(25, 4)),
        ["intersection"] = new Intersection(new Sphere(Vec3.Zero, 20), new HalfSpace(new Vec3(0, 0, 5), new Vec3(1, 1, 2))),
        ["difference"] = new Difference(new Box(Vec3.Zero, new Vec3(40, 40, 40)), new Sphere(new Vec3(20, 0, 0), 14)),
        ["difference, round rim"] = new Difference(new Box(Vec3.Zero, new Vec3(40, 40, 40)), new Sphere(new Vec3(20, 0, 0), 14), 5),
        ["blend"] = new Blend(new Sphere(new Vec3(-12, 0, 0), 14), new Capsule(Vec3.Zero, new Vec3(30, 5, 0), 6), 8),
        ["tree"] = new Union(
            new Blend(new Offset(new Difference(new Sphere(Vec3.Zero, 20), new Sphere(new Vec3(0, 10, 0), 15), 3), 1), new Torus(24, 5), 6).Turned(new Vec3(0, 1, 0), 30),
            new Intersection(new Sphere(new Vec3(10, 10, 10), 12), new Box(new Vec3(10, 10, 10), new Vec3(18, 18, 40)))),
    };

    internal static readonly Dictionary<string, Solid> All = Exact.Concat(Bounded).ToDictionary();

    public static TheoryData<string> ExactNames => [.. Exact.Keys];

    public static TheoryData<string> AllNames => [.. All.Keys];
}
