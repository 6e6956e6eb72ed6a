using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Walls;

/// <param name="DistanceMm">How far the surface goes outward; inward where negative.</param>
/// <param name="CellMm">Size of the grid's cells; null chooses: the solid's middle edge length, between a twelfth of the distance and a quarter of it or 0.4 mm.</param>
/// <param name="MinimumPieceMm3">Closed pieces and voids smaller than this are dropped and filled, with a finding.</param>
public sealed record ClearanceParameters(double DistanceMm, double? CellMm = null, double MinimumPieceMm3 = 1);

/// <summary>Grows or shrinks a solid by a distance, so that it fits over or into another.</summary>
/// <remarks>
/// The new surface is the set of points at that Euclidean distance (Minkowski sum with a ball, or erosion by it): outward convex edges
///   become round, concave ones stay sharp; it never crosses itself, and parts that come near enough melt together.
/// Measures: distance reached (minimum, median, maximum of points spread over the new surface to the old one), pieces.
/// Cost and memory: as <see cref="MakeShell"/>.
/// </remarks>
public static class Clearance
{
    private const string Step = "clearance";
    // Finer than what a printer shows of a rounded edge.
    private const double CoarseCellMm = 0.4;
    private const int Points = 50_000;

    /// <exception cref="PlanException">A parameter is out of range.</exception>
    /// <exception cref="CheckFailedException">The mesh is no solid, or nothing of it is left; nothing has changed.</exception>
    /// <exception cref="BadInputException">The cell is too small for the memory allowed.</exception>
    public static ShapeResult Apply(Mesh solid, ClearanceParameters parameters, RunContext run)
    {
        var distance = Math.Abs(parameters.DistanceMm);
        ShellInput.RequireIn(Step, "distanceMm", distance, 0, 1000);
        if (parameters.CellMm is { } given)
            ShellInput.RequireIn(Step, "cellMm", given, 0, 1000);
        ShellInput.RequireNotNegative(Step, "minPieceMm3", parameters.MinimumPieceMm3);
        ShellInput.RequireSolid(Step, solid, run);
        var cellMm = parameters.CellMm ?? ShellInput.CellMm(solid, distance / 12, Math.Max(CoarseCellMm, distance / 4), run);
        var side = SheetSide.Of(solid, run);
        var level = LevelSurface.Extract(Step, side, parameters.DistanceMm, 0, cellMm, run, out var putBack);
        var kept = SmallPieces.Drop(level, parameters.MinimumPieceMm3, run, out var dropped);
        if (kept.TriangleCount == 0)
            throw new CheckFailedException(Step, FormattableString.Invariant($"a solid thicker than {2 * distance} mm somewhere"), "none that is; give a smaller distance");
        return new(kept, Effect(solid, kept, side, dropped, cellMm, putBack, run), SmallPieces.Findings(dropped));
    }

    private static StepEffect Effect(Mesh solid, Mesh grown, SheetSide side, DroppedPieces dropped, double cellMm, int putBack, RunContext run)
    {
        var points = SurfaceSamples.Spread(grown, Points, run);
        var reached = side.Tree.Nearest(points, run).Select(n => n.DistanceMm).Order().ToArray();
        var measures = new SortedDictionary<string, double>(StringComparer.Ordinal)
        {
            ["cellMm"] = cellMm,
            ["distanceMaxMm"] = reached[^1],
            ["distanceMedianMm"] = reached[reached.Length / 2],
            ["distanceMinMm"] = reached[0],
            ["pieces"] = dropped.PiecesLeft,
            ["verticesPutBack"] = putBack,
        };
        return new(
            MeshMeasures.AreaMm2(solid, run) + MeshMeasures.AreaMm2(grown, run),
            reached.Average(),
            reached[^1],
            MeshMeasures.SignedVolumeMm3(solid, run),
            MeshMeasures.SignedVolumeMm3(grown, run),
            measures);
    }
}
