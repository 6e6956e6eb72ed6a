using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Phantoms.Sampling;
using AnatomyPrep.Phantoms.Series;

namespace AnatomyPrep.Phantoms.Catalogue;

/// <summary>Phantoms by name.</summary>
public static class PhantomCatalogue
{
    private static readonly Vec3 s_oneMm = new(1, 1, 1);

    private static readonly SortedDictionary<string, CatalogueEntry> s_entries = new(StringComparer.Ordinal)
    {
        ["capsule"] = new(SolidScenes.Capsule, s_oneMm, 0),
        ["cylinder"] = new(SolidScenes.Cylinder, s_oneMm, 0),
        ["drilled-plate"] = new(SolidScenes.DrilledPlate, s_oneMm, 0),
        ["ellipsoid"] = new(SolidScenes.Ellipsoid, s_oneMm, 0),
        ["frustum"] = new(SolidScenes.Frustum, s_oneMm, 0),
        ["head"] = new(HeadScene.Build, s_oneMm, 0),
        ["linear-block"] = new(SolidScenes.LinearBlock, s_oneMm, 0),
        ["plates"] = new(PlatesScene.Build, new Vec3(0.6, 0.6, 0.6), 0),
        ["shells"] = new(SolidScenes.Shells, new Vec3(0.6, 0.6, 0.6), 0),
        ["sphere-in-water"] = new(SolidScenes.SphereInWater, s_oneMm, 0),
        ["teaching-skull"] = new(TeachingSkullScene.Build, new Vec3(0.9, 0.9, 0.9), 12),
        ["torus"] = new(SolidScenes.Torus, s_oneMm, 0),
        ["touching-bones"] = new(TouchingBonesScene.Build, new Vec3(0.8, 0.8, 0.8), 0),
        ["vessel"] = new(VesselScene.Build, new Vec3(0.7, 0.7, 0.7), 0),
        ["wedge"] = new(WedgeScene.Build, s_oneMm, 0),
    };

    /// <summary>All names, in ordinal order.</summary>
    public static IReadOnlyList<string> Names { get; } = [.. s_entries.Keys];

    /// <summary>One sentence about a phantom.</summary>
    public static string Purpose(string name) => Entry(name).Scene().Purpose;

    /// <summary>The phantom as a series; everything about it can still be changed by "with".</summary>
    /// <exception cref="PlanException">No phantom has this name.</exception>
    public static PhantomSeries Create(string name, PhantomOptions? options = null)
    {
        var entry = Entry(name);
        var how = options ?? new PhantomOptions();
        var scene = entry.Scene();
        if (how.RampHalfWidthMm is { } halfWidth)
            scene = scene with { RampHalfWidthMm = halfWidth };
        var spacing = how.SpacingMm ?? entry.SpacingMm;
        var acquisition = Acquisition.Covering(scene.FieldOfViewMm, spacing.X, spacing.Y, spacing.Z, how.Orientation, how.GantryTiltDeg) with
        {
            Seed = how.Seed,
            NoiseSigmaHu = how.NoiseSigmaHu ?? entry.NoiseSigmaHu,
            SubsamplesPerAxis = how.SubsamplesPerAxis,
        };
        return new PhantomSeries(scene, acquisition);
    }

    private static CatalogueEntry Entry(string name) =>
        s_entries.TryGetValue(name, out var entry)
            ? entry
            : throw new PlanException("phantom", null, "name", name, string.Join(", ", s_entries.Keys));
}
