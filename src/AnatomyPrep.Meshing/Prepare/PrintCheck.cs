using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Prepare;

/// <param name="Up">Away from the bed.</param>
/// <param name="TryDrains">Bore proposed holes in a copy, to be sure that they open.</param>
public sealed record PrintCheckParameters(PrintProfile Profile, Vec3 Up, bool TryDrains = true);

/// <summary>Looks at everything that may go wrong when a model is printed as it lies. Changes nothing.</summary>
/// <remarks>
/// Walls and gaps (<see cref="ThicknessMap"/>), overhangs (<see cref="SupportNeed"/>, <see cref="Reach"/>), islands (<see cref="Islands"/>), bridges
/// (<see cref="Bridges"/>), what is caught and what may break (<see cref="TrappedPlaces"/>), the build volume (<see cref="PlateFit"/>), time and cost (<see cref="PrintEstimate"/>).
/// Each kind of fault gets a finding with its place, the worst five each one of its own.
/// </remarks>
public static class PrintCheck
{
    private const string Step = "check-print";
    private const double ReachLimits = 10;
    private const double RasterPixels = 400;
    private const double ReachPixels = 160;
    private const int ReachDirections = 200;
    private const int MostEach = 5;
    private const double SteadyDeg = 10;
    private const double EdgeLimits = 10;

    /// <exception cref="CheckFailedException">The surface is open or empty: what is inside cannot be told.</exception>
    /// <exception cref="PlanException">The direction is zero.</exception>
    /// <exception cref="OperationCanceledException">Asked throughout.</exception>
    public static (PrintReport Report, PrintMaps Maps) Run(Mesh mesh, PrintCheckParameters parameters, RunContext run)
    {
        var up = Shape.Placement.Direction(Step, "up", parameters.Up);
        var profile = parameters.Profile;
        RequireClosed(mesh, run);
        run.Report(Step, "walls", 0);
        var tree = TriangleTree.Build(mesh, run);
        var walls = ThicknessMap.Measure(mesh, tree, ThicknessSide.Wall, ReachLimits * profile.LeastWallMm, run);
        run.Report(Step, "gaps", 0.3);
        var gaps = ThicknessMap.Measure(mesh, tree, ThicknessSide.Gap, ReachLimits * profile.LeastGapMm, run);
        run.Report(Step, "support", 0.5);
        var (lies, error) = SupportNeed.Measure(mesh, up, profile.OverhangLimitDeg, ColumnRaster.PixelFor(mesh, RasterPixels), run);
        var overhang = Classes(mesh, up, profile, run, out var shadowedMm2, out var shadowedAtMm);
        lies = lies with { ShadowedMm2 = shadowedMm2 };
        run.Report(Step, "trapped", 0.7);
        var trapped = TrappedPlaces.Find(mesh, tree, profile, up, parameters.TryDrains, run);
        var islands = profile.NeedsSupport ? Islands.Find(mesh, up, profile.LayerHeightMm, run) : [];
        var bridges = profile.BridgeMm is { } limit ? Bridges.Find(mesh, up, profile.LayerHeightMm, limit, run) : null;
        foreach (var t in bridges?.Found.SelectMany(b => b.Triangles) ?? [])
            if (overhang[t] == OverhangClass.Support)
                overhang[t] = OverhangClass.LongBridge;
        var report = new PrintReport(
            profile.Name,
            lies,
            error,
            lies.ContactMm2 > 0 ? shadowedMm2 / lies.ContactMm2 : 0,
            shadowedAtMm,
            Summary(mesh, walls.SphereMm, walls.Below(mesh, profile.LeastWallMm, profile.LeastWallMm * profile.LeastWallMm, tellEdges: true), profile.LeastWallMm),
            Summary(mesh, gaps.SphereMm, gaps.Below(mesh, profile.LeastGapMm, profile.LeastGapMm * profile.LeastGapMm), profile.LeastGapMm),
            islands,
            trapped,
            PlateFit.Of(mesh, up, profile, run),
            PrintEstimate.Of(mesh, lies, profile, run),
            [])
        {
            Bridges = bridges,
        };
        return (report with { Findings = [.. Findings(report, profile)] }, new(walls.SphereMm, gaps.SphereMm, overhang));
    }

    private static void RequireClosed(Mesh mesh, RunContext run)
    {
        run.ThrowIfCancelled();
        var edges = EdgeTable.Build(mesh);
        if (mesh.TriangleCount == 0)
            throw new CheckFailedException(Step, "a model", "no triangles");
        if (edges.BoundaryEdges + edges.NonManifoldEdges + edges.InconsistentEdges > 0)
            throw new CheckFailedException(
                Step, "a closed surface", $"{edges.BoundaryEdges} open edges, {edges.NonManifoldEdges} with more than two triangles, {edges.InconsistentEdges} with neighbours that face opposite ways; repair it first, clean-scan does all of it");
    }

    private static OverhangClass[] Classes(Mesh mesh, Vec3 up, PrintProfile profile, RunContext run, out double shadowedMm2, out Vec3? shadowedAtMm)
    {
        var over = SupportNeed.Overhanging(mesh, up, profile.OverhangLimitDeg, run);
        var shadowed = Reach.Shadowed(mesh, FaceTable.Of(mesh, run), ColumnRaster.PixelFor(mesh, ReachPixels), OrientModel.Spread(ReachDirections), run);
        var heights = Array.ConvertAll(Enumerable.Range(0, mesh.VertexCount).ToArray(), v => Vec3.Dot(mesh.Local(v), up));
        var lowest = heights.Min();
        var classes = new OverhangClass[over.Length];
        (shadowedMm2, shadowedAtMm) = (0, null);
        var largest = 0.0;
        for (var t = 0; t < over.Length; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            if (Math.Max(heights[a], Math.Max(heights[b], heights[c])) - lowest <= SupportNeed.BedMm)
                classes[t] = OverhangClass.OnBed;
            else if (over[t])
                classes[t] = shadowed[t] ? OverhangClass.SupportOutOfReach : OverhangClass.Support;
            if (classes[t] != OverhangClass.SupportOutOfReach)
                continue;
            var area = MeshMeasures.TriangleAreaMm2(mesh, t);
            shadowedMm2 += area;
            if (area > largest)
                (largest, shadowedAtMm) = (area, (mesh.Vertex(a) + mesh.Vertex(b) + mesh.Vertex(c)) / 3);
        }

        return classes;
    }

    private static LengthSummary Summary(Mesh mesh, float[] lengthsMm, IReadOnlyList<ThinPlace> places, double limitMm)
    {
        var reach = ReachLimits * limitMm;
        var sorted = Array.ConvertAll(lengthsMm, d => (float)Math.Min(d, reach));
        Array.Sort(sorted);
        double At(double share) => sorted.Length == 0 ? reach : sorted[(int)Math.Min(sorted.Length - 1, share * sorted.Length)];
        return new(limitMm, reach, At(0), At(0.05), At(0.5), places.Sum(p => p.AreaMm2), places);
    }

    private static IEnumerable<Finding> Findings(PrintReport r, PrintProfile profile) =>
    [
        .. TooLarge(r.Fit, profile),
        .. Sharp(r.Walls, profile),
        .. Thin([.. r.Walls.Places.Where(p => !IsEdge(p, r.Walls))], FindingCodes.WallBelowProcess, r.Walls.LimitMm, "wall", $"Thicken it there, scale the model, or choose a process with thinner walls; {profile.Name} cannot hold it."),
        .. Thin(r.Gaps.Places, FindingCodes.GapNarrow, r.Gaps.LimitMm, "gap", "It will fuse: widen it, or expect the two sides to be one."),
        .. Necks(r.Trapped),
        .. Caught(r.Trapped, profile),
        .. Begin(r.Islands),
        .. Span(r.Bridges),
        .. Support(r, profile),
    ];

    private static IEnumerable<Finding> TooLarge(PlateFit fit, PrintProfile profile)
    {
        if (fit.Fits)
            yield break;
        var b = profile.BuildVolumeMm;
        yield return new(
            FindingCodes.PartTooLarge,
            Severity.Caution,
            FormattableString.Invariant($"The model is {fit.SizeMm.X:F1} x {fit.SizeMm.Y:F1} x {fit.SizeMm.Z:F1} mm as it lies, {profile.Name} takes {b.X:F0} x {b.Y:F0} x {b.Z:F0} mm; {fit.Cuts.Count} cuts are proposed."),
            fit.Cuts.Count == 0 ? "Lay it another way, or scale it." : string.Join(" ", fit.Cuts.Select(c => FormattableString.Invariant($"cut-into-parts: {{ pointMm: [{c.PointMm.X:F2}, {c.PointMm.Y:F2}, {c.PointMm.Z:F2}], normal: [{c.Normal.X:F5}, {c.Normal.Y:F5}, {c.Normal.Z:F5}], pegs: 2 }}"))),
            fit.Cuts.Count == 0 ? null : new(PositionMm: fit.Cuts[0].PointMm));
    }

    private static IEnumerable<Finding> Thin(IReadOnlyList<ThinPlace> places, string code, double limitMm, string what, string remedy) =>
        places.OrderByDescending(p => p.AreaMm2).Take(MostEach).Select((p, i) => new Finding(
            code,
            Severity.Caution,
            FormattableString.Invariant($"A {what} of {p.LeastMm:F2} mm where {limitMm} mm are needed, {p.AreaMm2:F1} mm² of it ({i + 1} of {places.Count} places, largest first)."),
            remedy,
            new(PositionMm: p.AtMm)));

    // Shorter ones are the corners of small triangles and break no one's finger; ours.
    private static bool IsEdge(ThinPlace place, LengthSummary walls) => place.SharpMm >= EdgeLimits * walls.LimitMm;

    private static IEnumerable<Finding> Sharp(LengthSummary walls, PrintProfile profile)
    {
        ThinPlace[] edges = [.. walls.Places.Where(p => IsEdge(p, walls)).OrderByDescending(p => p.SharpMm)];
        return edges.Take(MostEach).Select((p, i) => new Finding(
            FindingCodes.EdgeSharp,
            Severity.Caution,
            FormattableString.Invariant($"A sharp edge, {p.SharpMm:F1} mm long and down to {p.SharpestDeg:F0}°: the material beside it is thinner than the {walls.LimitMm} mm that {profile.Name} needs, {p.AreaMm2:F1} mm² of it ({i + 1} of {edges.Length} places, longest first)."),
            "It will be ragged or missing, and may cut: blunt it (smooth, a thicker wall, another cut), or expect the model to end where it is thick enough.",
            new(PositionMm: p.AtMm)));
    }

    private static IEnumerable<Finding> Necks(TrappedPlaces trapped) => trapped.Necks.Take(MostEach).Select((n, i) => new Finding(
        FindingCodes.NeckNarrow,
        Severity.Caution,
        FormattableString.Invariant($"A neck of about {n.DiameterMm:F1} ± {trapped.CellMm:F1} mm holds {n.LighterMm3 / 1000:F2} cm³ ({i + 1} of {trapped.Necks.Count} places)."),
        "It may break in the hand: thicken it, add a strut, or print the parts apart.",
        new(PositionMm: n.AtMm)));

    private static IEnumerable<Finding> Caught(TrappedPlaces trapped, PrintProfile profile)
    {
        foreach (var trap in trapped.Traps.Take(4 * MostEach))
        {
            var opened = trap.Drains.Where(d => d.Opens).ToArray();
            var remedy = trap.Kind == TrapKind.Cup || trap.Kind == TrapKind.NarrowThroat || opened.Length > 0
                ? opened.Length > 0
                    ? $"Drill {profile.DrainMm} mm at {string.Join(" and ", opened.Select(d => FormattableString.Invariant($"[{d.ToMm.X:F1}, {d.ToMm.Y:F1}, {d.ToMm.Z:F1}] ({d.WallMm:F1} mm of wall)")))}: tried, it opens."
                    : "No straight hole to the outside was found; widen the opening or turn the model."
                : "Fill it with drop-fragments: fillAllVoids, or drill it with drain.";
            yield return trap.Kind switch
            {
                TrapKind.ClosedVoid => new(
                    FindingCodes.VoidTraps, profile.FillsVoids ? Severity.Caution : Severity.Note,
                    FormattableString.Invariant($"A closed void of {trap.VolumeMm3 / 1000:F2} cm³ keeps its {profile.Filling}."), remedy, new(PositionMm: trap.AtMm)),
                TrapKind.NarrowThroat => new(
                    FindingCodes.ThroatNarrow, Severity.Caution,
                    FormattableString.Invariant($"A hollow of about {trap.VolumeMm3 / 1000:F2} cm³ opens by {trap.ThroatMm:F1} ± {trapped.CellMm:F1} mm only; {profile.Filling} needs {profile.DrainMm} mm."), remedy, new(PositionMm: trap.AtMm)),
                _ => new(
                    FindingCodes.CupHoldsLiquid, Severity.Caution,
                    FormattableString.Invariant($"A cup lifts about {trap.VolumeMm3 / 1000:F2} cm³ of {profile.Filling} out of the vat."), remedy, new(PositionMm: trap.AtMm)),
            };
        }
    }

    private static IEnumerable<Finding> Begin(IReadOnlyList<Island> islands) => islands.OrderByDescending(i => i.RiseMm).ThenBy(i => i.AboveBedMm).Take(MostEach).Select((island, n) => new Finding(
        FindingCodes.IslandsPresent,
        Severity.Note,
        FormattableString.Invariant($"Layer {island.Layer}, {island.AboveBedMm:F1} mm above the bed, begins in the air ({n + 1} of {islands.Count} places)."),
        "Support must stand there; check that the slicing program puts it.",
        new(PositionMm: island.AtMm)));

    private static IEnumerable<Finding> Span(LongBridges? bridges) => (bridges?.Found ?? []).Take(MostEach).Select((b, n) => new Finding(
        FindingCodes.BridgeLong,
        Severity.Note,
        FormattableString.Invariant($"Layer {b.Layer}, {b.AboveBedMm:F1} mm above the bed, hangs {b.SpanMm:F1} ± {bridges!.PixelMm:F1} mm between two sides where {bridges.LimitMm} mm hold without support, {b.AreaMm2:F0} mm² of it ({n + 1} of {bridges.Found.Count} places, longest first)."),
        "Support must stand below it, or it sags: check that the slicing program puts it, or lay the model another way.",
        new(PositionMm: b.AtMm)));

    private static IEnumerable<Finding> Support(PrintReport r, PrintProfile profile)
    {
        if (r.Lies.ShadowedMm2 > 0 && profile.Support == SupportKind.SameMaterial && r.OutOfReach > 0.02)
        {
            yield return new(
                FindingCodes.SupportOutOfReach,
                Severity.Caution,
                FormattableString.Invariant($"{r.Lies.ShadowedMm2:F0} of {r.Lies.ContactMm2:F0} mm² of support touch where no straight tool reaches them."),
                "Lay the model with `lay`, cut it open, or use soluble support; support left inside rattles and hides the anatomy.",
                new(PositionMm: r.OutOfReachAtMm));
        }

        if (profile.NeedsSupport && r.Lies.ToppleDeg < SteadyDeg)
        {
            yield return new(
                FindingCodes.StandsUnsteady,
                Severity.Note,
                FormattableString.Invariant($"The model with its support falls over when tilted by {r.Lies.ToppleDeg:F1}°."),
                "Give it a base or a brim, or lay it another way.");
        }
    }
}
