using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Combining;
using AnatomyPrep.Meshing.Shape;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Marking;

public enum HangingStyle
{
    /// <summary>A ring that stands on the highest point.</summary>
    Ring,

    /// <summary>A hole through the model below its highest point.</summary>
    Hole,
}

/// <param name="DiameterMm">Of the opening.</param>
/// <param name="WallMm">Thickness of the ring, or material left above the hole.</param>
/// <param name="Up">Which end hangs; null means towards the head.</param>
/// <param name="Along">Where the opening's axis points, as far as it is at right angles to Up; null means from front to back.</param>
/// <param name="PlaceMm">Hole: its axis passes through this point instead.</param>
public sealed record HangingHoleParameters(
    HangingStyle Style = HangingStyle.Ring, double DiameterMm = 4, double WallMm = 2, Vec3? Up = null, Vec3? Along = null, Vec3? PlaceMm = null);

/// <summary>Gives a solid something to hang from.</summary>
/// <remarks>
/// Ring: a torus around the axis whose tube's middle passes a quarter of the wall below the highest vertex. Hole: a cylinder through the whole
/// model, its middle a radius and a wall below the highest vertex; where that only makes a notch, deeper by half a wall at a time.
/// Either must add a handle to the surface, or it is refused. A ring has origin added, a hole's wall origin cut.
/// Measures: genusBefore, genusAfter, depthMm, and those of a combination.
/// </remarks>
public static class HangingHole
{
    private const string Step = "hanging-hole";
    private const int MostTries = 12;
    private const int TubeSides = 24;

    /// <exception cref="PlanException">A length out of range, or directions that say nothing.</exception>
    /// <exception cref="CheckFailedException">No solid, or no handle comes of it; nothing has changed.</exception>
    public static ShapeResult Apply(Mesh mesh, HangingHoleParameters parameters, RunContext run)
    {
        var up = Placement.Direction(Step, "up", parameters.Up ?? new Vec3(0, 0, 1));
        var along = Across(parameters.Along ?? new Vec3(0, 1, 0), up);
        Require(parameters);
        run.Report(Step, "check", 0);
        var before = SolidCheck.Require(Step, "the model", mesh, run);
        run.Report(Step, "make", 0.4);
        var top = Top(mesh, up);
        return parameters.Style == HangingStyle.Ring ? Ring(mesh, parameters, before, top, up, along, run) : Hole(mesh, parameters, before, top, up, along, run);
    }

    private static ShapeResult Ring(Mesh mesh, HangingHoleParameters p, MeshFacts before, Vec3 top, Vec3 up, Vec3 along, RunContext run)
    {
        var ringMm = (p.DiameterMm + p.WallMm) / 2;
        var center = top + (up * (ringMm - (p.WallMm / 4)));
        var joined = SolidEdit.Apply(Step, BooleanOperation.Union, mesh, [Torus(mesh.OriginMm, center, up, along, ringMm, p.WallMm / 2)], run);
        return AddsHandle(before, joined)
            ? Result(before, joined, p.WallMm / 4)
            : throw new CheckFailedException(Step, "a ring with a free opening on the highest point", "one that the model fills or does not hold; try the style hole, or another direction");
    }

    private static ShapeResult Hole(Mesh mesh, HangingHoleParameters p, MeshFacts before, Vec3 top, Vec3 up, Vec3 along, RunContext run)
    {
        var radiusMm = p.DiameterMm / 2;
        var tries = p.PlaceMm is null ? MostTries : 1;
        for (var i = 0; i < tries; i++)
        {
            var depthMm = radiusMm + p.WallMm + (i * p.WallMm / 2);
            var through = p.PlaceMm ?? (top - (up * depthMm));
            var drilled = SolidEdit.Apply(Step, BooleanOperation.Difference, mesh, [Drill(mesh, through, along, radiusMm)], run);
            if (AddsHandle(before, drilled) && drilled.Facts.Components == before.Components)
                return Result(before, drilled, p.PlaceMm is null ? depthMm : Vec3.Dot(top - through, up));
        }

        throw new CheckFailedException(
            Step,
            FormattableString.Invariant($"a hole of {p.DiameterMm} mm with material all round"),
            p.PlaceMm is null ? "only notches near the highest point; make it smaller, turn its axis, or give a place" : "a notch, a void or nothing at this place; choose another");
    }

    private static bool AddsHandle(MeshFacts before, SolidCombination after) => after.Facts.Genus > before.Genus && after.Facts.Components <= before.Components;

    private static ShapeResult Result(MeshFacts before, SolidCombination after, double depthMm) => new(
        after.Mesh,
        SolidEdit.Effect(before, after, ("depthMm", depthMm), ("genusAfter", after.Facts.Genus ?? 0), ("genusBefore", before.Genus ?? 0)),
        [.. SolidEdit.SettledFinding(after)]);

    private static Mesh Drill(Mesh mesh, Vec3 through, Vec3 along, double radiusMm)
    {
        double low = double.PositiveInfinity, high = double.NegativeInfinity;
        for (var v = 0; v < mesh.VertexCount; v++)
        {
            var d = Vec3.Dot(mesh.Vertex(v) - through, along);
            (low, high) = (Math.Min(low, d), Math.Max(high, d));
        }

        return SolidShapes.Frustum(
            mesh.OriginMm, through + (along * (low - 1)), through + (along * (high + 1)), radiusMm, radiusMm, SolidShapes.Sides(radiusMm), Origin.Cut);
    }

    private static Mesh Torus(Vec3 originMm, Vec3 center, Vec3 up, Vec3 along, double ringMm, double tubeMm)
    {
        var side = Vec3.Cross(along, up);
        var ring = SolidShapes.Sides(ringMm + tubeMm);
        var builder = new MeshBuilder(originMm);
        for (var i = 0; i < ring; i++)
        {
            var (sin, cos) = Math.SinCos(2 * Math.PI * i / ring);
            var outward = (up * cos) + (side * sin);
            for (var j = 0; j < TubeSides; j++)
            {
                var (s, c) = Math.SinCos(2 * Math.PI * j / TubeSides);
                builder.AddVertex(center + (outward * (ringMm + (tubeMm * c))) + (along * (tubeMm * s)));
            }
        }

        for (var i = 0; i < ring; i++)
            for (var j = 0; j < TubeSides; j++)
            {
                int At(int r, int t) => (r % ring * TubeSides) + (t % TubeSides);
                builder.AddTriangle(At(i, j), At(i, j + 1), At(i + 1, j + 1), Origin.Added);
                builder.AddTriangle(At(i, j), At(i + 1, j + 1), At(i + 1, j), Origin.Added);
            }

        var torus = builder.Build();
        return MeshMeasures.SignedVolumeMm3(torus) > 0 ? torus : new(originMm, torus.PositionArray, Placement.Turned(torus.Triangles), torus.OriginArray);
    }

    private static Vec3 Top(Mesh mesh, Vec3 up)
    {
        var top = mesh.Vertex(0);
        for (var v = 1; v < mesh.VertexCount; v++)
            if (Vec3.Dot(mesh.Vertex(v), up) > Vec3.Dot(top, up))
                top = mesh.Vertex(v);
        return top;
    }

    private static Vec3 Across(Vec3 along, Vec3 up)
    {
        Placement.Direction(Step, "along", along);
        var across = along - (up * Vec3.Dot(along, up));
        return across.Length > 1e-3 * along.Length
            ? across.Normalized()
            : throw new PlanException(Step, null, "along", Placement.Text(along), "a direction that is not up or down");
    }

    private static void Require(HangingHoleParameters p)
    {
        foreach (var (name, value) in (ReadOnlySpan<(string, double)>)[("diameterMm", p.DiameterMm), ("wallMm", p.WallMm)])
            if (!(value > 0) || !double.IsFinite(value))
                throw new PlanException(Step, null, name, Placement.Text(value), "a number above 0");
        if (p.PlaceMm is { } place)
            Placement.RequireFinite(Step, "placeMm", place);
    }
}
