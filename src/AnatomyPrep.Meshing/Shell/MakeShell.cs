using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Repair;
using AnatomyPrep.Meshing.Shape;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Shell;

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
/// <param name="CellMm">Size of the grid's cells; null chooses: the sheet's middle edge length, between a twelfth and a third of the thickness.</param>
/// <param name="MinimumPieceMm3">Closed pieces and voids smaller than this are dropped and filled, with a finding.</param>
public sealed record ShellParameters(
    double ThicknessMm = 3, ShellSide Side = ShellSide.Outward, double? CellMm = null, double MinimumPieceMm3 = 1);

/// <summary>Makes one closed solid of even thickness out of an open sheet.</summary>
public static class MakeShell
{
    private const string Step = "shell";
    private const double LeastOffsetShare = 0.05;
    private const int DeviationPoints = 50_000;

    public static ShapeResult Apply(Mesh sheet, ShellParameters parameters, RunContext run)
    {
        Check(parameters);
        if (sheet.TriangleCount == 0)
            throw new CheckFailedException(Step, "a sheet with triangles", "none");
        run.Report(Step, "search tree", 0);
        var side = SheetSide.Of(sheet, run);
        if (side.Edges.BoundaryEdges == 0)
            throw new CheckFailedException(Step, "an open sheet", "a closed surface; use hollow, which makes a wall inside of it");
        var cellMm = parameters.CellMm ?? ShellInput.CellMm(sheet, parameters.ThicknessMm);
        var (lowMm, highMm) = Levels(parameters);
        var field = new SheetField(side, lowMm, highMm);
        var surface = Extract(sheet, side, field, Math.Max(-lowMm, highMm), cellMm, run, out var edgeOf);
        var (mesh, putBack) = Untangle.Apply(Step, surface, sheet.OriginMm, run);
        var walls = Walls(surface, edgeOf);
        var keep = SmallPieces.Keep(mesh, parameters.MinimumPieceMm3, run, out var dropped);
        var stitched = parameters.Side == ShellSide.Centered
            ? null
            : SheetStitch.TryApply(Step, side, surface, keep, walls, edgeOf, lowMm == 0 ? Bound.Low : Bound.High, cellMm, run);
        var kept = stitched?.Mesh ?? MeshSubset.Keep(new(mesh.OriginMm, mesh.PositionArray, mesh.TriangleArray, Origins(surface, field, walls, sheet)), keep);
        walls = stitched?.Walls ?? [.. walls.Where((_, t) => keep[t])];
        var effect = Effect(sheet, kept, walls, parameters, run, new(StringComparer.Ordinal)
        {
            ["cellMm"] = cellMm,
            ["pieces"] = dropped.PiecesLeft,
            ["sheetKept"] = stitched is null ? 0 : 1,
            ["verticesPutBack"] = putBack,
        });
        return new(kept, effect, SmallPieces.Findings(dropped));
    }

    private static void Check(ShellParameters parameters)
    {
        ShellInput.RequireIn(Step, "thicknessMm", parameters.ThicknessMm, 0, 1000);
        if (parameters.CellMm is { } cell)
            ShellInput.RequireIn(Step, "cellMm", cell, 0, parameters.ThicknessMm / 2);
        ShellInput.RequireNotNegative(Step, "minPieceMm3", parameters.MinimumPieceMm3);
    }

    private static (double LowMm, double HighMm) Levels(ShellParameters parameters) => parameters.Side switch
    {
        ShellSide.Outward => (0, parameters.ThicknessMm),
        ShellSide.Inward => (-parameters.ThicknessMm, 0),
        _ => (-parameters.ThicknessMm / 2, parameters.ThicknessMm / 2),
    };

    private static SparseSurface Extract(
        Mesh sheet, SheetSide side, SheetField field, double reachMm, double cellMm, RunContext run, out Bound[] edgeOf)
    {
        var bounds = sheet.BoundsMm();
        var box = new Box3(bounds.Min - sheet.OriginMm, bounds.Max - sheet.OriginMm).Grown(reachMm + cellMm);
        using var grid = SparseGrid.Sample(Step, field, box, 2 * MeshMeasures.AreaMm2(sheet, run), cellMm, run);
        run.Report(Step, "walls", 0);
        var surface = SparseSurface.Extract(grid, field, run);
        edgeOf = RimSnap.Apply(surface, side, field, cellMm);
        return surface;
    }

    /// <summary>The wall each triangle belongs to: low, high, or rim for what joins them.</summary>
    private static Bound[] Walls(SparseSurface surface, Bound[] edgeOf)
    {
        var walls = new Bound[surface.Triangles.Length / 3];
        for (var t = 0; t < walls.Length; t++)
        {
            var wall = Bound.Rim;
            var mixed = false;
            for (var c = 3 * t; c < (3 * t) + 3; c++)
            {
                var v = surface.Triangles[c];
                var own = surface.Bounds[v];
                if (own == Bound.Rim)
                    continue;
                mixed |= wall != Bound.Rim && wall != own;
                wall = own;
            }

            for (var c = 3 * t; c < (3 * t) + 3; c++)
            {
                var v = surface.Triangles[c];
                mixed |= surface.Bounds[v] == Bound.Rim && !(surface.Moved[v] && edgeOf[v] == wall);
            }

            walls[t] = mixed ? Bound.Rim : wall;
        }

        return walls;
    }

    /// <summary>On the sheet's own side the origin of the sheet where most corners lie; everything else is offset.</summary>
    private static Origin[] Origins(SparseSurface surface, SheetField field, Bound[] walls, Mesh sheet)
    {
        var origins = new Origin[walls.Length];
        for (var t = 0; t < origins.Length; t++)
        {
            if (!field.IsOnSurface(walls[t]))
            {
                origins[t] = Origin.Offset;
                continue;
            }

            Origin a = Of(3 * t), b = Of((3 * t) + 1), c = Of((3 * t) + 2);
            origins[t] = b == c ? b : a;
        }

        return origins;

        Origin Of(int corner) => sheet.Origins[surface.NearTriangle[surface.Triangles[corner]]];
    }

    private static StepEffect Effect(
        Mesh sheet, Mesh kept, Bound[] walls, ShellParameters parameters, RunContext run, SortedDictionary<string, double> measures)
    {
        run.Report(Step, "measure", 0.8);
        var measured = parameters.Side switch { ShellSide.Outward => Bound.Low, ShellSide.Inward => Bound.High, _ => Bound.Inside };
        var offset = parameters.Side == ShellSide.Inward ? Bound.Low : Bound.High;
        var from = walls.Select(w => w == offset).ToArray();
        var to = walls.Select(w => w != offset && w != Bound.Rim).ToArray();
        var wall = WallThickness.Measure(kept, from, to, parameters.ThicknessMm, run)
            ?? throw new CheckFailedException(Step, "a wall with two sides", "none: the sheet is smaller or thinner than the wall; give a smaller thicknessMm");
        wall.AddTo(measures);
        if (measured != Bound.Inside)
        {
            var (mean, max) = Deviation(sheet, WallThickness.Subset(kept, to), run);
            measures["sheetDeviationMeanMm"] = mean;
            measures["sheetDeviationMaxMm"] = max;
        }

        return new(
            ChangedAreaMm2: MeshMeasures.AreaMm2(kept, run),
            VolumeAfterMm3: MeshMeasures.SignedVolumeMm3(kept, run),
            Measures: measures);
    }

    /// <summary>How far the measured wall lies from the sheet.</summary>
    private static (double MeanMm, double MaxMm) Deviation(Mesh sheet, Mesh wall, RunContext run)
    {
        var tree = TriangleTree.Build(sheet, run);
        var distances = tree.Nearest(SurfaceSamples.Spread(wall, DeviationPoints, run), run);
        return (distances.Sum(d => d.DistanceMm) / distances.Length, distances.Max(d => d.DistanceMm));
    }
}
