using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Records.Statements;
using Facts = AnatomyPrep.Meshing.Verify.MeshFacts;

namespace AnatomyPrep.App.Pipeline;

/// <summary>From what the stages measured to what the record holds; records know no geometry code.</summary>
internal static class RecordMapping
{
    public static Measurements Measurements(Facts facts, double[] areaByOriginMm2) => new()
    {
        Mesh = new()
        {
            Vertices = facts.Vertices,
            Triangles = facts.Triangles,
            Components = facts.Components,
            BoundaryLoops = facts.BoundaryLoops,
            NonManifoldEdges = facts.NonManifoldEdges,
            NonManifoldVertices = facts.NonManifoldVertices,
            SelfIntersections = facts.SelfIntersections,
            ConsistentOrientation = facts.ConsistentOrientation,
            OutwardOrientation = facts.OutwardOrientation,
            Watertight = facts.Watertight,
            Solid = facts.Solid,
            Genus = facts.Genus,
            VolumeMm3 = facts.VolumeMm3,
            AreaMm2 = facts.AreaMm2,
            BoundsMm = facts.BoundsMm is [var low, var high] ? new Box3(Point(low), Point(high)) : null,
        },
        Origins = Origins(areaByOriginMm2),
    };

    private static Vec3 Point(double[] p) => new(p[0], p[1], p[2]);

    private static List<OriginShare> Origins(double[] areaMm2)
    {
        var whole = areaMm2.Sum();
        var shares = new List<OriginShare>();
        for (var origin = 0; origin < areaMm2.Length; origin++)
            if (areaMm2[origin] > 0)
                shares.Add(new((Origin)origin, areaMm2[origin], areaMm2[origin] / whole));
        return shares;
    }
}
