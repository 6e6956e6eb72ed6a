using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Meshing.Verify;
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

    /// <param name="placement">Where the steps put the model, from where the images are.</param>
    public static Deviation Deviation(SourceDeviationFigures d, Affine3 placement) => new()
    {
        SignedMeanMm = d.SignedMeanMm,
        MeanMm = d.MeanMm,
        P50Mm = d.P50Mm,
        P95Mm = d.P95Mm,
        P99Mm = d.P99Mm,
        MaxMm = d.MaxMm,
        MaxAtMm = d.MaxAtMm,
        Origins = [.. d.ByOrigin.Select(o => new DeviationOfOrigin(o.Origin, o.SignedMeanMm, o.P5Mm, o.P50Mm, o.P95Mm, o.LargestMm))],
        HistogramLimitsMm = SourceDeviation.HistogramLimitsMm,
        HistogramShares = d.HistogramShares,
        ModelFromPatient = placement == Affine3.Identity ? null : [placement.X, placement.Y, placement.Z, placement.Translation],
    };

    public static LandmarkMeasurements Landmarks(LandmarkFigures figures, double toleranceMm, double? sliceThicknessMm) => new()
    {
        ToleranceMm = toleranceMm,
        SliceThicknessMm = sliceThicknessMm,
        Points = [.. figures.Landmarks.Select(p => new LandmarkPoint(p.Name, p.GivenMm, p.SourceOffMm, p.ModelOffMm, Known(p.SourceMm), Known(p.ModelMm)))],
        Distances = [.. figures.Distances.Select(d => new LandmarkDistance(d.From, d.To, d.SourceMm, d.ModelMm, d.DifferenceMm, d.FromColumnsMm, d.FromRowsMm, d.FromSlicesMm, d.StandardMm, d.ExpandedMm))],
        Angles = [.. figures.Angles.Select(a => new LandmarkAngle(a.From, a.At, a.To, a.SourceDeg, a.ModelDeg, a.DifferenceDeg, a.FromColumnsDeg, a.FromRowsDeg, a.FromSlicesDeg, a.StandardDeg, a.ExpandedDeg))],
        Handedness = figures.Handedness is { } h ? new(h.Points, h.SourceMm3, h.ModelMm3, h.ExpandedMm3, h.Mirrored) : null,
    };

    /// <summary>Of several solids as one model: sums, and what holds for all. Contact between solids is no fault of theirs.</summary>
    public static Measurements Together(IReadOnlyList<Measurements> parts)
    {
        var meshes = parts.Select(p => p.Mesh).ToArray();
        var boxes = meshes.Where(m => m.BoundsMm is not null).Select(m => m.BoundsMm!.Value).ToArray();
        return new()
        {
            Mesh = new()
            {
                Vertices = meshes.Sum(m => m.Vertices),
                Triangles = meshes.Sum(m => m.Triangles),
                Components = meshes.Sum(m => m.Components),
                BoundaryLoops = meshes.Sum(m => m.BoundaryLoops),
                NonManifoldEdges = meshes.Sum(m => m.NonManifoldEdges),
                NonManifoldVertices = meshes.Sum(m => m.NonManifoldVertices),
                SelfIntersections = meshes.All(m => m.SelfIntersections is not null) ? meshes.Sum(m => m.SelfIntersections) : null,
                ConsistentOrientation = meshes.All(m => m.ConsistentOrientation),
                OutwardOrientation = meshes.All(m => m.OutwardOrientation),
                Watertight = meshes.All(m => m.Watertight),
                Solid = meshes.All(m => m.Solid),
                Genus = meshes.All(m => m.Genus is not null) ? meshes.Sum(m => m.Genus) : null,
                VolumeMm3 = meshes.Sum(m => m.VolumeMm3),
                AreaMm2 = meshes.Sum(m => m.AreaMm2),
                BoundsMm = boxes.Length == 0 ? null : new Box3(
                    new(boxes.Min(b => b.Min.X), boxes.Min(b => b.Min.Y), boxes.Min(b => b.Min.Z)),
                    new(boxes.Max(b => b.Max.X), boxes.Max(b => b.Max.Y), boxes.Max(b => b.Max.Z))),
            },
            Origins = Origins([.. Enum.GetValues<Origin>().Select(o => parts.Sum(p => p.Origins.Where(s => s.Origin == o).Sum(s => s.AreaMm2)))]),
        };
    }

    private static Vec3? Known(Vec3 p) => p.IsFinite ? p : null;

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
