using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Walls;

/// <param name="ThicknessMm">Nowhere is the wall thinner, except where the solid itself is.</param>
/// <param name="CellMm">Size of the grid's cells; null chooses, see <see cref="ShellParameters"/>.</param>
/// <param name="MinimumCavityMm3">Cavities smaller than this are not made.</param>
/// <param name="SmoothRadiusMm">Radius to which the cavity's outward corners are rounded; 0 follows the outer surface faithfully.</param>
public sealed record HollowParameters(double ThicknessMm = 3, double? CellMm = null, double MinimumCavityMm3 = 100, double SmoothRadiusMm = 0);

/// <summary>Makes a solid hollow.</summary>
/// <remarks>
/// The cavity is what lies farther inside than the thickness, by Euclidean distance; its surface is extracted as for a shell and
///   added, facing inward, with origin offset. The given triangles and vertices stay as they are, byte for byte, in front.
/// Places not thicker than twice the wall stay solid.
/// Measures: cavities, cavityMm3, cavitiesDropped, solidShare (share of the surface with no cavity within twice the thickness), wall as
///   for <see cref="MakeShell"/>, measured from the cavity's side.
/// Cost and memory: as <see cref="MakeShell"/>, in proportion to the cavity's surface.
/// </remarks>
public static class Hollow
{
    private const string Step = "hollow";
    private const int Points = 20_000;

    /// <exception cref="PlanException">A parameter is out of range.</exception>
    /// <exception cref="CheckFailedException">The mesh is no solid, or nowhere thicker than two walls; nothing has changed.</exception>
    /// <exception cref="BadInputException">The cell is too small for the memory allowed.</exception>
    public static ShapeResult Apply(Mesh solid, HollowParameters parameters, RunContext run)
    {
        ShellInput.RequireIn(Step, "thicknessMm", parameters.ThicknessMm, 0, 1000);
        if (parameters.CellMm is { } given)
            ShellInput.RequireIn(Step, "cellMm", given, 0, parameters.ThicknessMm / 2);
        ShellInput.RequireNotNegative(Step, "minCavityMm3", parameters.MinimumCavityMm3);
        ShellInput.RequireRadius(Step, parameters.SmoothRadiusMm);
        ShellInput.RequireSolid(Step, solid, run);
        var cellMm = parameters.CellMm ?? Math.Min(parameters.ThicknessMm / 2, ShellInput.CellMm(solid, parameters.ThicknessMm / 12, parameters.ThicknessMm / 4, run));
        var side = SheetSide.Of(solid, run);
        var cavity = LevelSurface.Extract(Step, side, -parameters.ThicknessMm, parameters.SmoothRadiusMm, cellMm, run, out var putBack);
        var kept = SmallPieces.Drop(cavity, parameters.MinimumCavityMm3, run, out var dropped);
        if (kept.TriangleCount == 0)
            throw Refusal(parameters, dropped);
        var hollow = Joined(solid, kept);
        return new(hollow, Effect(solid, hollow, kept, dropped, parameters, cellMm, putBack, run), Findings(dropped));
    }

    private static CheckFailedException Refusal(HollowParameters parameters, DroppedPieces dropped) => dropped.Pieces > 0
        ? new(Step, FormattableString.Invariant($"a cavity of at least {parameters.MinimumCavityMm3} mm³"), FormattableString.Invariant($"{dropped.Pieces} that hold {dropped.PiecesMm3:F1} mm³ together; give a smaller thicknessMm or minCavityMm3"))
        : new(Step, FormattableString.Invariant($"a solid thicker than {2 * parameters.ThicknessMm} mm somewhere"), "none that is; give a smaller thicknessMm, or leave it solid");

    /// <summary>The solid, then the cavities turned inside out.</summary>
    private static Mesh Joined(Mesh solid, Mesh cavity)
    {
        var turned = Placement.Turned(cavity.Triangles);
        for (var c = 0; c < turned.Length; c++)
            turned[c] += solid.VertexCount;
        var origins = new Origin[solid.TriangleCount + cavity.TriangleCount];
        solid.Origins.CopyTo(origins);
        origins.AsSpan(solid.TriangleCount).Fill(Origin.Offset);
        return new(solid.OriginMm, [.. solid.Positions, .. cavity.Positions], [.. solid.Triangles, .. turned], origins);
    }

    private static StepEffect Effect(
        Mesh solid, Mesh hollow, Mesh cavity, DroppedPieces dropped, HollowParameters parameters, double cellMm, int putBack, RunContext run)
    {
        var inner = new bool[hollow.TriangleCount];
        inner.AsSpan(solid.TriangleCount).Fill(true);
        var outer = Array.ConvertAll(inner, i => !i);
        var measures = new SortedDictionary<string, double>(StringComparer.Ordinal)
        {
            ["cavities"] = dropped.PiecesLeft,
            ["cavitiesDropped"] = dropped.Pieces,
            ["cavityMm3"] = MeshMeasures.SignedVolumeMm3(cavity, run),
            ["cellMm"] = cellMm,
            ["solidShare"] = SolidShare(solid, cavity, 2 * parameters.ThicknessMm, run),
            ["verticesPutBack"] = putBack,
        };
        WallThickness.Measure(hollow, inner, outer, parameters.ThicknessMm, run)?.AddTo(measures);
        return new(
            ChangedAreaMm2: MeshMeasures.AreaMm2(cavity, run),
            VolumeBeforeMm3: MeshMeasures.SignedVolumeMm3(solid, run),
            VolumeAfterMm3: MeshMeasures.SignedVolumeMm3(hollow, run),
            Measures: measures);
    }

    /// <summary>Share of the surface that is farther from every cavity than the distance.</summary>
    private static double SolidShare(Mesh solid, Mesh cavity, double distanceMm, RunContext run)
    {
        var points = SurfaceSamples.Spread(solid, Points, run);
        var nearest = TriangleTree.Build(cavity, run).Nearest(points, run, distanceMm);
        return (double)nearest.Count(n => !n.Found) / points.Length;
    }

    private static List<Finding> Findings(DroppedPieces dropped) => dropped.Pieces == 0
        ? []
        : [new(
            FindingCodes.CavitiesNotMade,
            Severity.Note,
            FormattableString.Invariant($"{dropped.Pieces} cavities smaller than wanted ({dropped.PiecesMm3:F1} mm³ together) were not made; the solid stays solid there."),
            "Nothing to do; a smaller minCavityMm3 makes them.")];
}
