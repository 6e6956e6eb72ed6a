using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Prepare;
using AnatomyPrep.Tests.Meshing.Shape;

namespace AnatomyPrep.Tests.Meshing.Prepare;

/// <summary>Layers of 0.2 mm and a limit of 10 mm where nothing else is said: pixels of half a millimetre, and spans right within one.</summary>
public sealed class BridgesTests
{
    private const double LayerMm = 0.2;
    private const double LimitMm = 10;

    private static readonly RunContext s_run = RunContext.Default;
    private static readonly Vec3 s_up = new(0, 0, 1);

    /// <summary>A top of 60 × 20 mm at 20 mm on two legs as wide as it, 30 mm apart; what stands out beyond them is no bridge. The underside begins layer 101.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void A_table_spans_from_leg_to_leg()
    {
        var found = Find(Table(0, 20));
        found.PixelMm.Should().BeApproximately(0.5, 1e-12);
        var bridge = found.Found.Should().ContainSingle().Subject;
        bridge.SpanMm.Should().BeApproximately(30, found.PixelMm);
        bridge.AboveBedMm.Should().BeApproximately(20, 1e-4);
        bridge.Layer.Should().Be(101);
        bridge.AreaMm2.Should().BeApproximately(600, 21, "half a pixel along each side of 30 × 20");
        bridge.AtMm.X.Should().BeApproximately(30, 0.5);
        bridge.AtMm.Z.Should().BeApproximately(20, 1e-4);
        bridge.Triangles.Should().NotBeEmpty();
    }

    /// <summary>The same table under other legs, turned and far from the origin: legs narrower than the top, so that all that hangs is one part.</summary>
    [Theory]
    [InlineData(0, 20)]
    [InlineData(6, 14)]
    [Trait("Kind", "Truth")]
    public void However_it_is_turned_the_span_is_the_same(double from, double to)
    {
        var turn = Affine3.Rotate(new(1, 2, 3), 1);
        var turned = Solids.Moved(Table(from, to), (_, p) => turn.Map(p) + new Vec3(300, -200, 50));
        var bridge = Bridges.Find(turned, turn.Map(s_up), LayerMm, LimitMm, s_run).Found.Should().ContainSingle().Subject;
        // Across the pixels at a slant the edges of both sides are a pixel wide.
        bridge.SpanMm.Should().BeApproximately(30, 1.2);
    }

    /// <summary>Across a square lid of 20 mm the shortest way is straight; of a long one of 40 × 12 mm the short way.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void A_closed_ceiling_spans_its_narrow_side()
    {
        Find(Hollow(new(10, 10, 5), new(30, 30, 20))).Found.Should().ContainSingle().Which.SpanMm.Should().BeApproximately(20, 0.5);
        Find(Hollow(new(5, 14, 5), new(45, 26, 20))).Found.Should().ContainSingle().Which.SpanMm.Should().BeApproximately(12, 0.5);
        Find(Hollow(new(5, 14, 5), new(45, 23, 20))).Found.Should().BeEmpty("9 mm are under the limit");
    }

    /// <summary>
    /// A vault of radius 15 mm over a tunnel, in facets of 1 mm. Its walls stand out by less than half a pixel a layer until, in the layer whose middle is at 14.9 mm, it is open over
    /// 2·1.67 mm (14.967 at 1 mm from the crown, 14.867 at 2 mm); the next layer closes it.
    /// </summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void An_arch_spans_what_its_last_layer_closes_and_no_more()
    {
        static double Bottom(double x) => Math.Abs(x - 20) < 15 ? Math.Sqrt(225 - ((x - 20) * (x - 20))) : 0;
        var arch = Solids.Moved(Solids.GridBox(40, 40), (_, p) => new(p.X, p.Y, p.Z == 0 ? Bottom(p.X) : p.Z));
        Find(arch).Found.Should().BeEmpty();
        var fine = Bridges.Find(arch, s_up, LayerMm, 3, s_run);
        fine.Found.Should().ContainSingle().Which.SpanMm.Should().BeApproximately(3.33, fine.PixelMm);
        fine.Found[0].Layer.Should().Be(76);
    }

    [Fact]
    public void What_hangs_from_one_side_or_none_is_no_bridge()
    {
        Find(Solids.Merged(Solids.Box(new(0, 0, 0), new(10, 40, 30)), Solids.Box(new(5, 0, 25), new(40, 40, 29)))).Found.Should().BeEmpty("a shelf");
        Find(SupportNeedTests.TShape()).Found.Should().BeEmpty("a slab on one post");
        Find(Solids.Merged(Solids.Box(new(0, 0, 0), new(10, 10, 10)), Solids.Box(new(20, 20, 20), new(50, 50, 30)))).Found.Should().BeEmpty("an island");
        Find(Solids.Merged(Solids.Box(new(0, 0, 0), new(40, 40, 40)), Solids.InsideOut(Solids.Icosphere(4, 15, new(20, 20, 20))))).Found.Should().BeEmpty("a dome closes over 2·√(2·15·0.2) = 4.9 mm");
        Find(Solids.Box(new(0, 0, 0), new(40, 40, 40))).Found.Should().BeEmpty("it lies on the bed");
        Find(Mesh.Empty).Found.Should().BeEmpty();
    }

    /// <summary>In a report: a finding with its place, a class in the picture, measures; none of it where the profile states no limit.</summary>
    [Fact]
    public void The_check_says_where_and_how_far()
    {
        var (report, maps) = PrintCheck.Run(Table(0, 20), new(Profiles.Extrusion, s_up, TryDrains: false), s_run);
        var finding = report.Findings.Should().ContainSingle(f => f.Code == FindingCodes.BridgeLong).Subject;
        finding.Message.Should().Contain("10 mm hold without support").And.Contain("Layer 101");
        finding.Place!.PositionMm!.Value.X.Should().BeApproximately(30, 0.5);
        maps.Overhang.Should().Contain(OverhangClass.LongBridge);
        report.Measures()["bridges"].Should().Be(1);
        report.Measures()["bridgeLongestMm"].Should().BeApproximately(30, 0.5);

        var (silent, without) = PrintCheck.Run(Table(0, 20), new(Profiles.Extrusion with { BridgeMm = null }, s_up, TryDrains: false), s_run);
        silent.Bridges.Should().BeNull();
        silent.Measures().Keys.Should().NotContain("bridges");
        without.Overhang.Should().NotContain(OverhangClass.LongBridge);
    }

    /// <summary>A ridge of 20°, 40 mm long: the wall map is thin along it, and the finding says edge. A ridge of 90° is none.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void A_thin_sharp_edge_is_told_as_one()
    {
        var (report, _) = PrintCheck.Run(Ridge(20), new(Profiles.Extrusion, s_up, TryDrains: false), s_run);
        var edge = report.Findings.Should().ContainSingle(f => f.Code == FindingCodes.EdgeSharp).Subject;
        edge.Message.Should().Contain("down to 20°");
        edge.Place!.PositionMm!.Value.Z.Should().BeGreaterThan(27);
        report.Walls.Places.Max(p => p.SharpMm).Should().BeInRange(37, 40);
        PrintCheck.Run(Ridge(90), new(Profiles.Extrusion, s_up, TryDrains: false), s_run).Report.Findings.Should().NotContain(f => f.Code == FindingCodes.EdgeSharp || f.Code == FindingCodes.WallBelowProcess);
    }

    private static LongBridges Find(Mesh mesh) => Bridges.Find(mesh, s_up, LayerMm, LimitMm, s_run);

    private static Mesh Table(double legsFromY, double legsToY) => Solids.Merged(
        Solids.Box(new(0, 0, 20), new(60, 20, 25)), Solids.Box(new(5, legsFromY, 0), new(15, legsToY, 22)), Solids.Box(new(45, legsFromY, 0), new(55, legsToY, 22)));

    private static Mesh Hollow(Vec3 from, Vec3 to) => Solids.Merged(Solids.Box(new(0, 0, 0), new(50, 40, 30)), Solids.InsideOut(Solids.Box(from, to)));

    /// <summary>A roof 30 mm high with its ridge up, 40 mm long, cut into squares of about 1 mm.</summary>
    private static Mesh Ridge(double angleDeg)
    {
        const int High = 30, Long = 40;
        var half = High * Math.Tan(angleDeg * Math.PI / 360);
        Vec3[] outline =
        [
            .. Enumerable.Range(0, High).Select(i => new Vec3(half * i / High, 0, High - i)),
            .. Enumerable.Range(0, High).Select(i => new Vec3(half - (2 * half * i / High), 0, 0)),
            .. Enumerable.Range(0, High).Select(i => new Vec3(-half + (half * i / High), 0, i)),
        ];
        var n = outline.Length;
        var points = Enumerable.Range(0, Long + 1).SelectMany(y => outline.Select(p => p + new Vec3(0, y, 0))).Append(new(0, 0, High / 3.0)).Append(new(0, Long, High / 3.0)).ToArray();
        var triangles = new List<int>();
        for (var y = 0; y < Long; y++)
            for (var i = 0; i < n; i++)
            {
                int a = (y * n) + i, b = (y * n) + ((i + 1) % n);
                triangles.AddRange([a, b, a + n, b, b + n, a + n]);
            }

        for (var i = 0; i < n; i++)
        {
            var next = (i + 1) % n;
            triangles.AddRange([points.Length - 2, next, i]);
            triangles.AddRange([points.Length - 1, (Long * n) + i, (Long * n) + next]);
        }

        return Solids.Of(points, triangles.ToArray());
    }
}
