using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Repair;
using AnatomyPrep.Meshing.Shape;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Walls;

/// <summary>On which side of the sheet the wall lies.</summary>
public enum ShellSide
{
    /// <summary>In front of the sheet, where its triangles face.</summary>
    Outward,

    /// <summary>Behind it.</summary>
    Inward,

    /// <summary>Half before, half behind; then neither wall is the measured surface.</summary>
    Centered,
}

/// <param name="ThicknessMm">3 mm is common practice for a face or head (no source).</param>
/// <param name="CellMm">Size of the grid's cells; null chooses: the sheet's middle edge length, between a twelfth and a quarter of the thickness.</param>
/// <param name="SmoothRadiusMm">Radius to which valleys of the offset wall are rounded, which adds material; 0 follows the sheet faithfully.</param>
/// <param name="MinimumPieceMm3">Closed pieces and voids smaller than this are dropped and filled, with a finding.</param>
public sealed record ShellParameters(
    double ThicknessMm = 3, ShellSide Side = ShellSide.Outward, double? CellMm = null, double MinimumPieceMm3 = 1, double SmoothRadiusMm = 0);

/// <summary>Makes one closed solid of even thickness out of an open sheet.</summary>
/// <remarks>
/// The wall is what lies within the thickness of the sheet on the chosen side, by Euclidean distance, cut off at the rim at right
///   angles to the sheet: a region of space, so it has no folds however sharply the sheet bends. After D. Pavić and L. Kobbelt,
///   "High-Resolution Volumetric Computation of Offset Surfaces with Feature Preservation", Computer Graphics Forum 27(2) (2008),
///   from memory. Differs: distances are exact at every sample of a sparse grid (<see cref="SparseGrid"/>), vertices are moved onto the
///   exact offset (<see cref="SparseSurface"/>), the rim is known and cut (<see cref="RimSnap"/>), and crossings are excluded by test
///   (<see cref="Untangle"/>).
/// A sheet that is a manifold and does not cross itself becomes one wall as it is: its vertices and triangles come first in the result,
///   turned for an outward shell (<see cref="SheetStitch"/>). Any other is drawn anew, each vertex on the sheet, and the deviation
///   is measured and told. Origins of the sheet's side are the sheet's; offset wall and rim are offset.
/// Holes of the sheet stay openings of the shell: fill them before where they are not wanted.
/// Measures: wall by distance and by rays (<see cref="WallThickness"/>), sheetDeviation mean and maximum, sheetKept (1 or 0), openings,
///   pieces, cellMm, verticesPutBack.
/// Accuracy: offset vertices within 2e-5 mm of the thickness; between them the wall is at least √(t² − L²/3), L the longest edge of the
///   offset wall (docs/methods/shell.md).
/// Cost: 500,000 triangles over 0.1 m² to a wall of 3 mm: 13 s of processor time, about 8 s on two cores; peak 1 GB.
/// </remarks>
public static class MakeShell
{
    private const string Step = "shell";
    private const double LeastOffsetShare = 0.05;
    private const double ThinShare = 0.9;
    private const int MostDeviationPoints = 50_000;

    /// <exception cref="PlanException">A parameter is out of range.</exception>
    /// <exception cref="CheckFailedException">The mesh is empty or closed, or the offset wall vanishes; nothing has changed.</exception>
    /// <exception cref="BadInputException">The cell is too small for the memory allowed.</exception>
    public static ShapeResult Apply(Mesh sheet, ShellParameters parameters, RunContext run)
    {
        Check(parameters);
        if (sheet.TriangleCount == 0)
            throw new CheckFailedException(Step, "a sheet with triangles", "none");
        run.Report(Step, "search tree", 0);
        var side = SheetSide.Of(sheet, run);
        if (side.Edges.BoundaryEdges == 0)
            throw new CheckFailedException(Step, "an open sheet", "a closed surface; use hollow, which makes a wall inside of it");
        var cellMm = parameters.CellMm ?? Math.Min(parameters.ThicknessMm / 2, ShellInput.CellMm(sheet, parameters.ThicknessMm / 12, parameters.ThicknessMm / 4, run));
        var (lowMm, highMm) = Levels(parameters);
        var rounding = parameters.SmoothRadiusMm > 0 ? Thicker(side, lowMm, highMm, parameters.SmoothRadiusMm, cellMm, run) : null;
        var field = new SheetField(side, lowMm, highMm, rounding);
        var surface = Extract(sheet, field, Math.Max(-lowMm, highMm), cellMm, run);
        var edgeOf = RimSnap.Apply(surface, side, field, cellMm);
        var (mesh, putBack) = Untangle.Apply(Step, surface, sheet.OriginMm, run);
        var walls = ShellLabels.Walls(surface, edgeOf);
        var keep = SmallPieces.Keep(mesh, parameters.MinimumPieceMm3, run, out var dropped);
        var stitched = parameters.Side == ShellSide.Centered
            ? null
            : SheetStitch.TryApply(Step, side, surface, keep, walls, edgeOf, lowMm == 0 ? Bound.Low : Bound.High, cellMm, run);
        var shell = stitched?.Mesh
            ?? MeshSubset.Keep(new(mesh.OriginMm, mesh.PositionArray, mesh.TriangleArray, ShellLabels.Origins(surface, field, walls, sheet)), keep);
        return Measured(side, new(shell, stitched?.Walls ?? [.. walls.Where((_, t) => keep[t])]), parameters, run, SmallPieces.Findings(dropped), new(StringComparer.Ordinal)
        {
            ["cellMm"] = cellMm,
            ["openings"] = Verify.LoopStarts.FirstHalfEdges(sheet.TriangleArray, side.Edges).Count,
            ["sheetKept"] = stitched is null ? 0 : 1,
            ["verticesPutBack"] = putBack,
        });
    }

    private static void Check(ShellParameters parameters)
    {
        ShellInput.RequireIn(Step, "thicknessMm", parameters.ThicknessMm, 0, 1000);
        if (parameters.CellMm is { } cell)
            ShellInput.RequireIn(Step, "cellMm", cell, 0, parameters.ThicknessMm / 2);
        ShellInput.RequireRadius(Step, parameters.SmoothRadiusMm);
        ShellInput.RequireNotNegative(Step, "minPieceMm3", parameters.MinimumPieceMm3);
    }

    private static (double LowMm, double HighMm) Levels(ShellParameters parameters) => parameters.Side switch
    {
        ShellSide.Outward => (0, parameters.ThicknessMm),
        ShellSide.Inward => (-parameters.ThicknessMm, 0),
        _ => (-parameters.ThicknessMm / 2, parameters.ThicknessMm / 2),
    };

    private static SparseSurface Extract(Mesh sheet, SheetField field, double reachMm, double cellMm, RunContext run)
    {
        var bounds = sheet.BoundsMm();
        var box = new Box3(bounds.Min - sheet.OriginMm, bounds.Max - sheet.OriginMm).Grown(reachMm + cellMm);
        using var grid = SparseGrid.Sample(Step, field, box, 2 * MeshMeasures.AreaMm2(sheet, run), cellMm, run);
        run.Report(Step, "walls", 0);
        return SparseSurface.Extract(grid, field, run);
    }

    private static Rounding Thicker(SheetSide side, double lowMm, double highMm, double radiusMm, double cellMm, RunContext run)
    {
        var sheet = side.Tree.Mesh;
        var field = new SheetField(side, lowMm < 0 ? lowMm - radiusMm : 0, highMm > 0 ? highMm + radiusMm : 0);
        var surface = Extract(sheet, field, Math.Max(-lowMm, highMm) + radiusMm, cellMm, run);
        return new(surface.Walls(sheet.OriginMm, b => b != Bound.Rim && !field.IsOnSurface(b)), radiusMm, run);
    }

    private static ShapeResult Measured(
        SheetSide side, StitchedSheet shell, ShellParameters parameters, RunContext run, List<Finding> findings, SortedDictionary<string, double> measures)
    {
        run.Report(Step, "measure", 0.8);
        var offset = parameters.Side == ShellSide.Inward ? Bound.Low : Bound.High;
        var from = Array.ConvertAll(shell.Walls, w => w == offset);
        var to = Array.ConvertAll(shell.Walls, w => w != offset && w != Bound.Rim);
        var sheet = side.Tree.Mesh;
        var wall = MeshMeasures.AreaMm2(WallThickness.Subset(shell.Mesh, from), run) < LeastOffsetShare * MeshMeasures.AreaMm2(sheet, run)
            ? null
            : WallThickness.Measure(shell.Mesh, from, to, parameters.ThicknessMm, run);
        if (wall is null)
            throw new CheckFailedException(Step, "a wall with two sides", "almost none: the sheet bends or ends within the thickness everywhere; give a smaller thicknessMm");
        wall.AddTo(measures);
        measures["pieces"] = SmallPieces.Count(shell.Mesh, run);
        if (wall.MinimumMm < ThinShare * parameters.ThicknessMm)
            findings.Add(Thin(wall, parameters));
        if (parameters.Side != ShellSide.Centered)
        {
            (measures["sheetDeviationMeanMm"], measures["sheetDeviationMaxMm"]) = Deviation(side.Tree, WallThickness.Subset(shell.Mesh, to), run);
            if (measures["sheetKept"] == 0)
                findings.Add(Redrawn(side, measures["sheetDeviationMeanMm"], measures["sheetDeviationMaxMm"]));
        }

        var effect = new StepEffect(
            ChangedAreaMm2: MeshMeasures.AreaMm2(shell.Mesh, run),
            VolumeAfterMm3: MeshMeasures.SignedVolumeMm3(shell.Mesh, run),
            Measures: measures);
        return new(shell.Mesh, effect, findings);
    }

    private static Finding Thin(WallThickness wall, ShellParameters parameters) => new(
        FindingCodes.WallThin,
        Severity.Caution,
        FormattableString.Invariant($"The wall is only {wall.MinimumMm:F2} mm thick in one place, instead of {parameters.ThicknessMm} mm; {wall.ShareWithin:P1} of it is within 5 % of the wanted thickness."),
        "Look at the place: the sheet may lie double or cross itself there. Repair the sheet first, or give a smaller cellMm.",
        new Place(PositionMm: wall.ThinnestAtMm));

    private static Finding Redrawn(SheetSide side, double meanMm, double maxMm) => new(
        FindingCodes.SheetRedrawn,
        Severity.Note,
        FormattableString.Invariant($"The measured side was drawn anew, {meanMm:F3} mm from the sheet on average and {maxMm:F2} mm at most{(side.Crossings > 0 ? $": the sheet crosses itself in {side.Crossings} pairs of triangles" : "")}."),
        "Nothing to do if that is near enough. To keep the sheet's own triangles, repair it first (fix-topology, remove-crossings), or give a smaller cellMm.");

    /// <summary>How far the measured wall lies from the sheet.</summary>
    private static (double MeanMm, double MaxMm) Deviation(TriangleTree sheet, Mesh wall, RunContext run)
    {
        var distances = sheet.Nearest(SurfaceSamples.Spread(wall, Math.Min(MostDeviationPoints, 4 * wall.TriangleCount), run), run);
        return (distances.Sum(d => d.DistanceMm) / distances.Length, distances.Max(d => d.DistanceMm));
    }
}
