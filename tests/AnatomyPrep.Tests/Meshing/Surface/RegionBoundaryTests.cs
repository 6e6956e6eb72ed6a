using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Segment;
using AnatomyPrep.Meshing.Surface;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Tests.Meshing.Surface;

/// <summary>Where a region's boundary is a crossing of the level grey values place it; where it is not, the surface says so.</summary>
public sealed class RegionBoundaryTests
{
    private const double RadiusMm = 9.4;
    private static readonly RunContext s_run = RunContext.Default;
    private static readonly HuWindow s_window = new(0, short.MaxValue);

    // 1000 HU a millimetre: rounding to whole HU moves a vertex by 0.0005 mm at most.
    private static Volume Ball() => Grid.FromPatient(27, 27, Grid.Map(27, 27, 27), p => 1000 * (RadiusMm - p.Length));

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_part_taken_away_leaves_a_cut_face_and_the_rest_where_it_was()
    {
        using var volume = Ball();
        using var whole = Threshold.Apply(volume, s_window, s_run);
        using var half = whole.Copy();
        for (var k = 0; k < 27; k++)
            for (var j = 0; j < 27; j++)
                for (var i = 17; i < 27; i++)
                    half.Set(i, j, k, false);
        var surface = FlyingEdges.Extract(volume, half, s_run);

        MustBeSolid(surface.Mesh);
        surface.BorderMm2.Should().Be(0);
        // Samples 16 and 17 of the row lie at x = 3 and 4: the face lies half way, where no grey value says anything.
        const double face = 3.5;
        var areas = MeshMeasures.AreaByOriginMm2(surface.Mesh);
        var disc = Math.PI * ((RadiusMm * RadiusMm) - (face * face));
        // The disc, and around it a rim one cell wide, 2 pi r · 1 mm, that touches the cut with one corner; at most √2 of it for its slant.
        areas[(int)Origin.Cut].Should().BeInRange(0.95 * disc, disc + (2 * Math.PI * RadiusMm * Math.Sqrt(2)));
        areas[(int)Origin.Filled].Should().Be(0);
        // docs/methods/surface.md, eq. 1, h = 1.
        var bound = (1 / (8 * (RadiusMm - 1))) + 0.0005 + FlyingEdges.ClearanceMm;
        foreach (var v in VerticesOf(surface.Mesh, Origin.Measured))
            v.Length.Should().BeApproximately(RadiusMm, bound);
        foreach (var v in VerticesOf(surface.Mesh, Origin.Cut))
            (Math.Abs(v.X - face) < 1e-5 || Math.Abs(v.Length - RadiusMm) <= bound).Should().BeTrue("a cut triangle has its corners on the cut or on the ball");
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_region_taken_beyond_the_values_is_filled_there_and_stays_closed()
    {
        using var volume = Ball();
        using var ball = Threshold.Apply(volume, s_window, s_run);
        using var grown = Morphology.Dilate(ball, volume.Map, 2, s_run);
        var surface = FlyingEdges.Extract(volume, grown, s_run);

        MustBeSolid(surface.Mesh);
        surface.Mesh.Origins.ToArray().Should().OnlyContain(o => o == Origin.Filled);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Closing_a_gap_marks_the_lid_and_nothing_else()
    {
        // A slab of bone with a slit 2 mm wide: closing with 1.5 mm closes it; the flat faces of the slab stay measured.
        using var volume = Grid.FromPatient(41, 25, Grid.Map(41, 25, 25), p =>
            1000 * Math.Min(Math.Min(8.3 - Math.Abs(p.X), 8.3 - Math.Abs(p.Y)), Math.Min(8.3 - Math.Abs(p.Z), Math.Max(Math.Abs(p.X) - 1, -5 - p.Z))));
        using var slab = Threshold.Apply(volume, s_window, s_run);
        using var closed = Morphology.Close(slab, volume.Map, 1.5, s_run);
        var surface = FlyingEdges.Extract(volume, closed, s_run);

        MustBeSolid(surface.Mesh);
        VerticesOf(surface.Mesh, Origin.Filled).Should().NotBeEmpty().And.OnlyContain(v => Math.Abs(v.X) < 2.5);
        VerticesOf(surface.Mesh, Origin.Measured).Where(v => Math.Abs(v.X) > 3 && Math.Abs(v.X) < 6 && Math.Abs(v.Y) < 6).Select(v => Math.Abs(v.Z))
            .Should().NotBeEmpty().And.OnlyContain(z => Math.Abs(z - 8.3) < 0.001 || Math.Abs(z - 5) < 1.1);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Local_levels_place_the_surface_where_the_value_meets_them()
    {
        // HU = 100 z, level = 20 x: they meet in the plane 100 z = 20 x, which linear interpolation finds exactly.
        using var volume = Grid.FromPatient(21, 21, Grid.Map(21, 21, 21), p => 100 * p.Z);
        var nodes = new short[3 * 3 * 3];
        for (var n = 0; n < nodes.Length; n++)
            nodes[n] = (short)(20 * (((n % 3) * 10) - 10));
        using var region = new Region(21, 21, 21, new HuWindow(0, short.MaxValue), new LevelField(21, 21, 21, 10, 10, nodes));
        for (var k = 0; k < 21; k++)
            for (var j = 0; j < 21; j++)
                for (var i = 0; i < 21; i++)
                    region.Set(i, j, k, volume[i, j, k] >= region.LowerHu(i, j, k));
        var surface = FlyingEdges.Extract(volume, region, s_run);

        MustBeSolid(surface.Mesh);
        // Moved at most by the clearance along a grid edge.
        VerticesOf(surface.Mesh, Origin.Measured).Should().NotBeEmpty().And.OnlyContain(v => Math.Abs(v.Z - (0.2 * v.X)) <= FlyingEdges.ClearanceMm + 1e-6);
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Any_bits_over_any_values_give_a_closed_manifold()
    {
        for (var seed = 0; seed < 8; seed++)
        {
            using var volume = Grid.Noise(9, 8, 7, seed, -3, 3);
            var random = new Random(seed);
            using var region = new Region(9, 8, 7, new HuWindow(-1, 1));
            for (var k = 0; k < 7; k++)
                for (var j = 0; j < 8; j++)
                    for (var i = 0; i < 9; i++)
                        region.Set(i, j, k, random.Next(2) == 0);
            MustBeSolid(FlyingEdges.Extract(volume, region, s_run).Mesh);
        }
    }

    private static void MustBeSolid(Mesh mesh) => MeshFacts.Measure(mesh, s_run).Solid.Should().BeTrue();

    private static List<Vec3> VerticesOf(Mesh mesh, Origin origin)
    {
        var vertices = new SortedSet<int>();
        for (var t = 0; t < mesh.TriangleCount; t++)
            if (mesh.Origins[t] == origin)
                vertices.UnionWith([mesh.Triangle(t).A, mesh.Triangle(t).B, mesh.Triangle(t).C]);
        return [.. vertices.Select(mesh.Vertex)];
    }
}
