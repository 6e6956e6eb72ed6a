using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Repair;

namespace AnatomyPrep.Meshing.Cloud;

/// <summary>How points become a surface. 0 lets the points decide, see <see cref="CloudScales"/>.</summary>
/// <param name="CellMm">Edge of the grid, about the edge length of the triangles.</param>
/// <param name="SmoothingMm">Points within this distance have a say in where the surface lies.</param>
/// <param name="SupportMm">A triangle is measured where a point lies within this distance along the surface.</param>
/// <param name="ClosingMm">Gaps up to twice as wide are closed; what lies beyond the support is marked filled.</param>
/// <param name="MinimumPieceMm2">Smaller pieces of surface are left out.</param>
public sealed record CloudSurfaceParameters(double CellMm = 0, double SmoothingMm = 0, double SupportMm = 0, double ClosingMm = 0, double MinimumPieceMm2 = 0);

/// <summary>What a surface from points is made of, beside the mesh.</summary>
public sealed record CloudSurfaceResult(Mesh Mesh, StepEffect Effect, IReadOnlyList<Finding> Findings);

/// <summary>Lays a surface through measured points: open where nothing was measured.</summary>
/// <remarks>
/// Signed distances at the nodes of a sparse grid (<see cref="SignedField"/>), their zero surface (<see cref="BlockSurface"/>), cut off
/// along the line where the points end (<see cref="SheetBorder"/>), and scraps dropped.
/// Gives: an oriented manifold with clean borders and without crossings. A triangle is measured when all of it lies within
///   <c>supportMm</c> of points, along the surface, and filled in the gaps that were closed. Larger holes are for <see cref="FillHoles"/>.
/// Points without direction get one from <see cref="EstimateNormals"/> first.
/// Error: docs/methods/cloud.md.
/// Measures: points, pointsUsed, spacingMm, noiseMm, cellMm, smoothingMm, supportMm, closingMm, filledMm2, pointDistanceMeanMm, pointDistanceP95Mm, triangles,
///   borderLoops, scrapsDropped, scrapsMm2. The mean displacement is that of the points to the surface.
/// Cost: 10 µs a point and core for the scales chosen by default, nine tenths of it side by side. Memory: 150 bytes a point, 2 kB a block
///   of 8³ cells near points, three times the mesh.
/// </remarks>
public static class CloudSurface
{
    private const string Step = "cloud surface";
    private const int Neighbours = 8;

    // A point with fewer others within the smoothing distance says nothing about a surface; this also bounds what strewn points cost.
    // Nor does one that looks the other way than most around it: an outlier too near to be told by its distance.
    private const int FewestAround = 3;

    /// <exception cref="PlanException">A parameter is out of its range, or does not go with another.</exception>
    /// <exception cref="BadInputException">A coordinate is not finite, there are too few points, or the memory budget is too small.</exception>
    /// <exception cref="CheckFailedException">The points do not lie on a surface.</exception>
    public static CloudSurfaceResult Apply(PointCloud cloud, CloudSurfaceParameters parameters, RunContext run)
    {
        CloudScales.Check(parameters, Step);
        if (cloud.Count < EstimateNormals.FewestPoints)
            throw new BadInputException(Step, "points", FormattableString.Invariant($"{cloud.Count}"), "A surface needs at least three points, and a trustworthy one some thousand.");
        var findings = new List<Finding>();
        run.Report(Step, "index", 0);
        var index = PointIndex.Build(cloud, run);
        var normals = new PointNormals(index);
        if (normals.TakeGiven() < cloud.Count)
        {
            var estimated = EstimateNormals.Apply(cloud, new(), run);
            findings.AddRange(estimated.Findings);
            normals.Take(estimated.Cloud);
        }

        run.Report(Step, "scales", 0.2);
        var lists = NeighbourLists.Find(index, Neighbours, run);
        var scales = CloudScales.Of(parameters, index, lists, normals, Step, run);
        var used = Used(index, lists, normals, scales);
        var field = Field(index, normals, used, scales, run);
        run.Report(Step, "triangles", 0.7);
        var whole = BlockSurface.Extract(field, Step, run);
        var sheet = SheetBorder.Trim(whole, index, normals, scales, run);
        var (mesh, scraps) = Sizeable(sheet, scales, run);
        if (mesh.TriangleCount == 0)
            throw new CheckFailedException(Step, "points that lie on a surface", FormattableString.Invariant($"{cloud.Count} points that give none larger than {scales.MinimumPieceMm2:G4} mm²; they are too few, too far apart or on a line"));
        mesh = new(cloud.OriginMm, mesh.PositionArray, mesh.TriangleArray, SheetBorder.Origins(mesh, index, normals, scales, run));
        run.Report(Step, "measures", 0.9);
        return Told(cloud, used, scales, PointResiduals.Of(field, index, used, run), mesh, scraps, findings, run);
    }

    private static bool[] Used(PointIndex index, NeighbourLists lists, PointNormals normals, CloudScales scales)
    {
        var used = new bool[index.Count];
        var fewest = Math.Min(FewestAround, lists.K);
        for (var p = 0; p < used.Length; p++)
            used[p] = normals[p] != Vec3.Zero
                && lists.DistanceSquared(p, lists.Of(p)[fewest - 1]) <= scales.SmoothingMm * scales.SmoothingMm
                && !normals.StandsAgainst(p, lists.Of(p));
        return used;
    }

    private static SignedField Field(PointIndex index, PointNormals normals, bool[] used, CloudScales scales, RunContext run)
    {
        var grid = BlockGrid.Build(index, normals, used, scales.CellMm, scales.ReachMm, Step, run);
        run.Memory.Require(Step, grid.Count * (long)((sizeof(float) * BlockGrid.Nodes) + 512), "Raise cellMm, or remove outliers first.");
        return SignedField.Evaluate(grid, scales.SmoothingMm, scales.NoiseMm, run, done => run.Report(Step, "distances", done));
    }

    private static (Mesh Mesh, Scraps Dropped) Sizeable(Mesh mesh, CloudScales scales, RunContext run)
    {
        var pieces = Pieces.Find(mesh, run);
        var keep = new bool[mesh.TriangleCount];
        for (var t = 0; t < keep.Length; t++)
            keep[t] = pieces.All[pieces.PieceOfTriangle[t]].AreaMm2 >= scales.MinimumPieceMm2;
        var dropped = pieces.All.Where(p => p.AreaMm2 < scales.MinimumPieceMm2).ToList();
        return (MeshSubset.Keep(mesh, keep), new(dropped.Count, dropped.Sum(p => p.AreaMm2)));
    }

    private static CloudSurfaceResult Told(
        PointCloud cloud, bool[] used, CloudScales scales, PointResiduals residuals, Mesh mesh, Scraps scraps, List<Finding> findings, RunContext run)
    {
        var loops = BoundaryLoops.Find(mesh);
        if (scraps.Pieces > 0)
        {
            findings.Add(new(
                FindingCodes.ScrapsDropped, Severity.Note,
                FormattableString.Invariant($"{scraps.Pieces} pieces of surface smaller than {scales.MinimumPieceMm2:G3} mm² ({scraps.AreaMm2:G4} mm² together) were left out."),
                "Remove outliers first; where parts are missing, lower minPieceMm2."));
        }

        if (loops.Count > 0)
        {
            var widest = loops.MaxBy(l => l.DiameterMm)!;
            findings.Add(new(
                FindingCodes.SurfaceOpen, Severity.Note,
                FormattableString.Invariant($"The measured surface is open along {loops.Count} lines; the widest spans {widest.DiameterMm:F1} mm. Nothing was measured there within {scales.ClosingMm:G3} mm."),
                "Fill the holes (fill-holes marks what it adds), or scan the place again.",
                new Place(PositionMm: widest.CenterMm)));
        }

        var effect = new StepEffect(
            ChangedAreaMm2: MeshMeasures.AreaMm2(mesh, run),
            MeanDisplacementMm: residuals.MeanMm,
            MaxDisplacementMm: residuals.MaxMm,
            VolumeAfterMm3: MeshMeasures.SignedVolumeMm3(mesh, run),
            Measures: new SortedDictionary<string, double>(StringComparer.Ordinal)
            {
                ["points"] = cloud.Count,
                ["pointsUsed"] = used.Count(u => u),
                ["spacingMm"] = scales.SpacingMm,
                ["noiseMm"] = scales.NoiseMm,
                ["cellMm"] = scales.CellMm,
                ["smoothingMm"] = scales.SmoothingMm,
                ["supportMm"] = scales.SupportMm,
                ["closingMm"] = scales.ClosingMm,
                ["filledMm2"] = MeshMeasures.AreaByOriginMm2(mesh, run)[(int)Origin.Filled],
                ["pointDistanceMeanMm"] = residuals.MeanMm,
                ["pointDistanceP95Mm"] = residuals.P95Mm,
                ["triangles"] = mesh.TriangleCount,
                ["borderLoops"] = loops.Count,
                ["scrapsDropped"] = scraps.Pieces,
                ["scrapsMm2"] = scraps.AreaMm2,
            });
        return new(mesh, effect, findings);
    }

    private readonly record struct Scraps(int Pieces, double AreaMm2);
}
