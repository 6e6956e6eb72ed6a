using System.Diagnostics;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Walls;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Tests.Meshing.Shape;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Walls;

public sealed class MakeShellTests
{
    private static readonly RunContext s_run = new();

    /// <summary>
    /// A square sheet of side a gives the box a × a × t, whatever side: corners and edges are cut at right angles. What is left out
    /// along the 12 edges: a bevel of at most half a cell squared, so at most (8a + 4t)·h²/2.
    /// </summary>
    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(ShellSide.Outward, 0, 3)]
    [InlineData(ShellSide.Inward, -3, 0)]
    [InlineData(ShellSide.Centered, -1.5, 1.5)]
    public void Shell_of_a_flat_square_is_a_box(ShellSide side, double low, double high)
    {
        const double a = 30, t = 3, h = 0.5;
        var shell = MakeShell.Apply(TestMeshes.GridSheet(12, 12, a, a), new(t, side, h), s_run);
        MustBeSolid(shell.Mesh);
        shell.Effect.VolumeAfterMm3.Should().BeInRange((a * a * t) - (((8 * a) + (4 * t)) * h * h / 2), (a * a * t) + 1e-3).And.BeApproximately(a * a * t, 0.005 * a * a * t);
        var bounds = shell.Mesh.BoundsMm();
        (bounds.Min - new Vec3(0, 0, low)).Length.Should().BeLessThan(1e-3);
        (bounds.Max - new Vec3(a, a, high)).Length.Should().BeLessThan(1e-3);
        shell.Effect.Measures!["wallMinMm"].Should().BeApproximately(t, 1e-3);
        shell.Effect.Measures["wallMaxMm"].Should().BeApproximately(t, 1e-3);
    }

    /// <summary>
    /// Between the radii R and R ± t over the solid angle of the sheet lies |(R ± t)³ − R³|·Ω/3. The sheet's facets lie inside the sphere by
    /// at most its sagitta, e²/8R with e the longest edge (0.05 %), and the rim is cut at right angles to facets.
    /// </summary>
    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(ShellSide.Outward)]
    [InlineData(ShellSide.Inward)]
    [InlineData(ShellSide.Centered)]
    public void Shell_of_a_cap_has_the_volume_between_two_spheres(ShellSide side)
    {
        const double r = 20, t = 3;
        var cap = Sheets.Cap(r, 80, 96, 24);
        var shell = MakeShell.Apply(cap, new(t, side, 0.5), s_run);
        MustBeSolid(shell.Mesh);
        var (inner, outer) = side switch { ShellSide.Outward => (r, r + t), ShellSide.Inward => (r - t, r), _ => (r - (t / 2), r + (t / 2)) };
        var expected = Sheets.SolidAngleRad(cap) / 3 * (Math.Pow(outer, 3) - Math.Pow(inner, 3));
        shell.Effect.VolumeAfterMm3.Should().BeApproximately(expected, 0.005 * expected);
        MeshAssert.Euler(shell.Mesh).Should().Be(2);
    }

    /// <summary>Between two circular sectors: angle·length·((R + t)² − R²)/2; facets lower both radii by at most R(1 − cos(step/2)) = 0.02 %.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void Shell_of_a_cylinder_patch_has_the_volume_between_two_cylinders()
    {
        const double r = 15, t = 3, angle = 120, length = 25;
        var shell = MakeShell.Apply(Sheets.CylinderPatch(r, angle, length, 60, 25), new(t, ShellSide.Outward, 0.5), s_run);
        MustBeSolid(shell.Mesh);
        var expected = angle * Math.PI / 180 * length * (((r + t) * (r + t)) - (r * r)) / 2;
        shell.Effect.VolumeAfterMm3.Should().BeApproximately(expected, 0.005 * expected);
    }

    /// <summary>
    /// Let v be the vertices of an offset triangle, at distance t of the sheet S, and x = Σ λ v a point of it. |x|² − d²(x, S) is the
    /// maximum over q in S of 2x·q − |q|², so convex, hence d²(x) ≥ Σ λ d²(v) − Σ λ |v − x|² ≥ t² − L²/3 with L the longest edge (a
    /// triangle's corners lie within L/√3 of some point, and Σ λ |v − x|² is at most the square of that circle's radius). And d is
    /// 1-Lipschitz: d(x) ≤ t + L/√3. The vertices themselves keep the search's tolerance.
    /// </summary>
    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(ShellSide.Outward, 0.5)]
    [InlineData(ShellSide.Inward, 0.5)]
    [InlineData(ShellSide.Inward, 5)]
    public void Every_point_of_the_offset_wall_is_at_the_distance(ShellSide side, double radiusMm)
    {
        // Waves of height 2 mm and the given radius of curvature at crests and valleys: below the thickness, and above it.
        const double t = 3;
        var k = Math.Sqrt(0.5 / radiusMm);
        var sheet = TestMeshes.GridSheet(40, 8, 20, 8, (x, _) => 2 * Math.Sin(k * x));
        var shell = MakeShell.Apply(sheet, new(t, side), s_run);
        MustBeSolid(shell.Mesh);
        var wall = OffsetWall(shell.Mesh, sheet, t);
        var longest = Sheets.LongestEdgeMm(wall);
        MeshMeasures.AreaMm2(wall).Should().BeGreaterThan(100);
        foreach (var p in SurfaceSamples.Spread(wall, 3000, s_run))
            MeshAssert.Distance(p, sheet).Should().BeInRange(Math.Sqrt((t * t) - (longest * longest / 3)) - 1e-3, t + (longest / Math.Sqrt(3)) + 1e-3);
    }

    /// <summary>Sheets that bend more sharply than the wall is thick, on both sides, with any cell size.</summary>
    [Fact]
    [Trait("Kind", "Property")]
    public void Any_wavy_sheet_becomes_a_solid_that_does_not_cross_itself() =>
        Gen.Select(Gen.Double[0.2, 6], Gen.Double[0.1, 2], Gen.Double[0.1, 2], Gen.Double[0.5, 5], Gen.Int[0, 2], Gen.Double[0.2, 0.5]).Sample(
            (height, u, v, thickness, side, cell) =>
            {
                var sheet = TestMeshes.GridSheet(14, 14, 14, 14, (x, y) => height * Math.Sin(u * x) * Math.Cos(v * y));
                var shell = MakeShell.Apply(sheet, new(thickness, (ShellSide)side, cell * thickness), s_run);
                MustBeSolid(shell.Mesh);
            },
            iter: 20);

    [Fact]
    [Trait("Kind", "Same")]
    public void Same_bytes_on_any_number_of_threads()
    {
        var sheet = TestMeshes.GridSheet(30, 30, 30, 30, (x, y) => 3 * Math.Sin(x / 2) * Math.Cos(y / 3));
        var expected = MakeShell.Apply(sheet, new(3, ShellSide.Outward, 0.6), new RunContext(threads: 1));
        foreach (var threads in new[] { 2, 3, 16 })
        {
            var shell = MakeShell.Apply(sheet, new(3, ShellSide.Outward, 0.6), new RunContext(threads: threads));
            MeshAssert.SameBytes(shell.Mesh, expected.Mesh).Should().BeTrue("of {0} threads", threads);
            shell.Effect.Measures.Should().BeEquivalentTo(expected.Effect.Measures);
        }
    }

    /// <summary>A sheet without faults is one wall of its shell: its vertices and triangles come first and are not touched, only turned.</summary>
    [Theory]
    [Trait("Kind", "Property")]
    [InlineData(ShellSide.Outward)]
    [InlineData(ShellSide.Inward)]
    public void A_clean_sheet_stays_as_it_is(ShellSide side)
    {
        var sheet = Striped(TestMeshes.GridSheet(20, 20, 20, 20, (x, y) => Math.Sin(x / 2) * Math.Cos(y / 3)));
        var shell = MakeShell.Apply(sheet, new(3, side, 0.6), s_run);
        MustBeSolid(shell.Mesh);
        shell.Effect.Measures!["sheetKept"].Should().Be(1);
        shell.Effect.Measures["sheetDeviationMaxMm"].Should().BeLessThan(1e-12);
        shell.Mesh.Positions[..sheet.Positions.Length].SequenceEqual(sheet.Positions).Should().BeTrue();
        shell.Mesh.Origins[..sheet.TriangleCount].SequenceEqual(sheet.Origins).Should().BeTrue();
        shell.Mesh.Origins[sheet.TriangleCount..].ToArray().Should().OnlyContain(o => o == Origin.Offset);
        for (var t = 0; t < sheet.TriangleCount; t++)
        {
            var (a, b, c) = sheet.Triangle(t);
            shell.Mesh.Triangle(t).Should().Be(side == ShellSide.Outward ? (a, c, b) : (a, b, c));
        }
    }

    /// <summary>Sheets with holes, teeth along the border and several pieces: each border finds its place.</summary>
    [Fact]
    [Trait("Kind", "Property")]
    public void Clean_sheets_with_ragged_borders_and_holes_are_kept_too() =>
        Gen.Select(Gen.Int[0, 1000], Gen.Double[0, 2], Gen.Int[0, 1]).Sample(
            (seed, height, side) =>
            {
                var sheet = Ragged(seed, height);
                var shell = MakeShell.Apply(sheet, new(2, (ShellSide)side, 0.5), s_run);
                MustBeSolid(shell.Mesh);
                shell.Effect.Measures!["sheetKept"].Should().Be(1);
                shell.Effect.Measures["openings"].Should().Be(2);
            },
            iter: 15);

    /// <summary>A sheet that crosses itself is drawn anew: on the sheet at every vertex, with the origins of what is nearest.</summary>
    [Fact]
    [Trait("Kind", "Property")]
    public void A_crossing_sheet_is_drawn_anew_and_told()
    {
        var sheet = Striped(TestMeshes.Join(TestMeshes.GridSheet(20, 20, 20, 20), TestMeshes.GridSheet(4, 20, 4, 20, (x, _) => x - 2).Moved(Affine3.Translate(new(8, 0, 0)))));
        var shell = MakeShell.Apply(sheet, new(3, ShellSide.Inward, 0.5), s_run);
        MustBeSolid(shell.Mesh);
        shell.Effect.Measures!["sheetKept"].Should().Be(0);
        shell.Findings.Should().Contain(f => f.Code == FindingCodes.SheetRedrawn);
        var areas = MeshMeasures.AreaByOriginMm2(shell.Mesh);
        (areas[(int)Origin.Measured] / (areas[(int)Origin.Measured] + areas[(int)Origin.Filled])).Should().BeApproximately(0.5, 0.1);
        for (var t = 0; t < shell.Mesh.TriangleCount; t++)
            if (shell.Mesh.Origins[t] != Origin.Offset)
                MeshAssert.Distance(shell.Mesh.Vertex(shell.Mesh.Triangle(t).A), sheet).Should().BeLessThan(1e-5);
    }

    /// <summary>
    /// A V of 90° folded to its inside: the exact offset has a sharp valley, the rounded one an arc of the radius tangent to both
    /// walls, which fills (1 − π/4)·r² of its section. The wall stays at least as thick as without. The thicker wall that the ball rolls in
    /// has its valley bridged by triangles no longer than √3 cells, so at most √3/2·h high, and the arc is as much higher, over its
    /// width √2·r; the sharp valley loses at most the same triangles.
    /// </summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void Rounded_valleys_have_the_section_of_an_arc()
    {
        const double t = 2, r = 3, length = 12, h = 0.3;
        var fold = TestMeshes.GridSheet(24, 12, 24, length, (x, _) => Math.Abs(x - 12));
        var sharp = MakeShell.Apply(fold, new(t, ShellSide.Outward, h), s_run);
        var smooth = MakeShell.Apply(fold, new(t, ShellSide.Outward, h, SmoothRadiusMm: r), s_run);
        MustBeSolid(smooth.Mesh);
        var added = smooth.Effect.VolumeAfterMm3!.Value - sharp.Effect.VolumeAfterMm3!.Value;
        double arc = (1 - (Math.PI / 4)) * r * r * length, bridged = Math.Sqrt(3) / 2 * h;
        added.Should().BeInRange(arc - (bridged * bridged * length) - (0.02 * arc), arc + (bridged * Math.Sqrt(2) * r * length));
        smooth.Effect.Measures!["wallMinMm"].Should().BeGreaterThan(t - 0.01);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Crossing_sheets_of_several_pieces_become_solid()
    {
        var sheet = TestMeshes.Join(
            TestMeshes.GridSheet(20, 20, 20, 20, (x, y) => 5 * Math.Sin(x / 3)),
            TestMeshes.GridSheet(20, 20, 20, 20, (x, y) => 5 * Math.Cos(y / 3)),
            TestMeshes.GridSheet(5, 5, 5, 5, (x, y) => 40 + x),
            TestMeshes.GridSheet(20, 20, 20, 20, (_, _) => 1).Turned());
        var shell = MakeShell.Apply(sheet, new(2), s_run);
        MustBeSolid(shell.Mesh);
        shell.Effect.Measures!["pieces"].Should().BeGreaterThanOrEqualTo(2);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void One_triangle_becomes_a_prism()
    {
        var triangle = TestMeshes.Of([Vec3.Zero, new(20, 0, 0), new(0, 20, 0)], [0, 1, 2]);
        var shell = MakeShell.Apply(triangle, new(4, ShellSide.Outward, 0.5), s_run);
        MustBeSolid(shell.Mesh);
        shell.Effect.VolumeAfterMm3.Should().BeApproximately(200 * 4, 200 * 4 * 0.01);
    }

    [Theory]
    [Trait("Kind", "Hostile")]
    [InlineData(0, null, "thicknessMm")]
    [InlineData(-1, null, "thicknessMm")]
    [InlineData(double.NaN, null, "thicknessMm")]
    [InlineData(3, 0.0, "cellMm")]
    [InlineData(3, 2.0, "cellMm")]
    public void Wrong_parameters_are_named(double thickness, double? cell, string parameter)
    {
        var make = () => MakeShell.Apply(TestMeshes.GridSheet(4, 4, 20, 20), new(thickness, CellMm: cell), s_run);
        make.Should().Throw<PlanException>().Which.Parameter.Should().Be(parameter);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void What_cannot_become_a_shell_is_refused_with_the_reason()
    {
        var closed = () => MakeShell.Apply(TestMeshes.Icosphere(2, 20), new(), s_run);
        closed.Should().Throw<CheckFailedException>().WithMessage("*hollow*");
        var empty = () => MakeShell.Apply(Mesh.Empty, new(), s_run);
        empty.Should().Throw<CheckFailedException>();
        var thick = () => MakeShell.Apply(Sheets.Cap(10, 150, 32, 16), new(40, ShellSide.Inward), s_run);
        thick.Should().Throw<CheckFailedException>().WithMessage("*thicknessMm*");
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Cells_too_small_for_the_memory_are_refused_with_figure_and_remedy()
    {
        var sheet = TestMeshes.GridSheet(10, 10, 100, 100);
        var fine = () => MakeShell.Apply(sheet, new(3, CellMm: 0.005), s_run);
        fine.Should().Throw<BadInputException>().WithMessage("*GB*cellMm*");
        var small = () => MakeShell.Apply(sheet, new(3, CellMm: 0.2), new RunContext(memory: new MemoryBudget(10_000_000)));
        small.Should().Throw<BadInputException>().WithMessage("*cellMm*");
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Cancelled_work_says_so()
    {
        using var source = new CancellationTokenSource();
        source.Cancel();
        var make = () => MakeShell.Apply(TestMeshes.GridSheet(20, 20, 20, 20), new(), new RunContext(threads: 1, cancellation: source.Token));
        make.Should().Throw<OperationCanceledException>();
    }

    /// <summary>Stripes of measured and filled triangles along y.</summary>
    private static Mesh Striped(Mesh sheet)
    {
        var origins = new Origin[sheet.TriangleCount];
        for (var t = 0; t < origins.Length; t++)
        {
            var (a, b, c) = sheet.Triangle(t);
            origins[t] = (sheet.Local(a) + sheet.Local(b) + sheet.Local(c)).Y / 3 < 10 ? Origin.Measured : Origin.Filled;
        }

        return new(sheet.OriginMm, sheet.PositionArray, sheet.TriangleArray, origins);
    }

    /// <summary>A wavy sheet with a hole of 4 mm whose border triangles are taken away at random, as long as it stays in one piece.</summary>
    private static Mesh Ragged(int seed, double height)
    {
        var random = new Random(seed);
        var whole = TestMeshes.GridSheet(24, 24, 24, 24, (x, y) => height * Math.Sin(x / 3) * Math.Cos(y / 4));
        var corners = new List<int>();
        for (var t = 0; t < whole.TriangleCount; t++)
        {
            var (a, b, c) = whole.Triangle(t);
            var middle = (whole.Local(a) + whole.Local(b) + whole.Local(c)) / 3;
            var fromEdge = Math.Min(Math.Min(middle.X, 24 - middle.X), Math.Min(middle.Y, 24 - middle.Y));
            var fromHole = Math.Max(Math.Abs(middle.X - 12), Math.Abs(middle.Y - 12)) - 2;
            // Only the triangles with one edge on the border: without them the border has teeth and no vertex hangs loose.
            var tooth = (fromEdge < 0.5 || fromHole is > 0 and < 0.5) && random.Next(3) == 0;
            if (fromHole > 0 && !(tooth && IsTooth(middle)))
                corners.AddRange([a, b, c]);
        }

        return new(whole.OriginMm, whole.PositionArray, [.. corners]);

        static bool IsTooth(Vec3 m) => m.X is > 2 and < 22 && m.Y is > 2 and < 22 ? Math.Abs(m.X - 12) < 2 ^ Math.Abs(m.Y - 12) < 2 : m.X is > 2 and < 22 ^ m.Y is > 2 and < 22;
    }

    internal static void MustBeSolid(Mesh mesh)
    {
        var facts = MeshFacts.Measure(mesh, s_run);
        facts.Solid.Should().BeTrue("the solid has {0} crossings, {1} open edges, {2} doubtful vertices, {3} flat triangles", facts.SelfIntersections, facts.BoundaryEdges, facts.NonManifoldVertices, facts.DegenerateTriangles);
    }

    /// <summary>Triangles with all corners at the distance from the sheet: the offset wall without the rim.</summary>
    private static Mesh OffsetWall(Mesh shell, Mesh sheet, double distanceMm)
    {
        var at = Enumerable.Range(0, shell.VertexCount).Select(v => Math.Abs(MeshAssert.Distance(shell.Vertex(v), sheet) - distanceMm) < 1e-3).ToArray();
        int[] corners = [.. Enumerable.Range(0, shell.TriangleCount)
            .Where(t => at[shell.Triangle(t).A] && at[shell.Triangle(t).B] && at[shell.Triangle(t).C])
            .SelectMany(t => shell.Triangles.Slice(3 * t, 3).ToArray())];
        return new(shell.OriginMm, shell.PositionArray, corners);
    }
}
