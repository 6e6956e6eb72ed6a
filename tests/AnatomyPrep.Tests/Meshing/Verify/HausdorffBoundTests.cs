using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Tests.Meshing.Shape;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Verify;

public sealed class HausdorffBoundTests
{
    private static readonly RunContext s_run = new();

    /// <summary>Sheets h apart, triangulated differently: within h and a little, beyond anything less.</summary>
    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(1)]
    [InlineData(0.3)]
    [InlineData(7)]
    public void Parallel_sheets_lie_within_their_distance_and_no_less(double step)
    {
        var (low, high) = (Solids.Sheet(21, 21, 1), Solids.Moved(Solids.Sheet((int)(18 / step), (int)(18 / step), step), (_, p) => p + new Vec3(0.7, 1.1, 0.25)));
        Beyond(high, low, 0.2501).Should().BeEmpty();
        Beyond(high, low, 0.2499).Should().HaveCount(high.TriangleCount);
    }

    /// <summary>
    /// What passes is held against points spread over it; what does not pass has a point farther than 31/32 of the limit less the
    /// spacing of those points, because quarters are only given up within a 32nd of the limit of a point that is itself too far.
    /// </summary>
    [Fact]
    [Trait("Kind", "Property")]
    public void What_passes_lies_within_and_what_does_not_lies_near_the_limit() =>
        Gen.Select(Gen.Int[0, 1 << 30], Gen.Double[0.05, 1.5], Gen.Int[0, 2]).Sample(
            (seed, limitMm, kind) =>
            {
                var to = kind switch
                {
                    0 => SmoothTests.Noisy(Solids.Icosphere(2, 10), 0.3, seed),
                    1 => Solids.GridBox(3, 12),
                    _ => Solids.Sheet(12, 12, 1, (x, y) => Math.Sin(x + seed) * Math.Cos(y)),
                };
                var from = kind switch
                {
                    0 => SmoothTests.Noisy(Solids.Icosphere(3, 10), 0.2, seed + 1),
                    1 => Solids.Moved(SmoothTests.Noisy(Solids.Icosphere(2, 7), 0.4, seed), (_, p) => Vec3.Max(Vec3.Zero, Vec3.Min(new(12, 12, 12), p + new Vec3(6, 6, 6)))),
                    _ => Solids.Sheet(5, 5, 2.9, (x, y) => Math.Sin(x + seed) * Math.Cos(y)),
                };
                var tree = TriangleTree.Build(to, s_run);
                var beyond = Beyond(from, to, limitMm).ToHashSet();
                for (var t = 0; t < from.TriangleCount; t++)
                {
                    var (farthest, spacing) = Farthest(from, t, tree);
                    if (!beyond.Contains(t))
                        farthest.Should().BeLessThanOrEqualTo(limitMm);
                    else
                        farthest.Should().BeGreaterThan((limitMm * (31.0 / 32)) - spacing);
                }
            },
            iter: 10);

    /// <summary>Near an open border, over a fold, and where a triangle stands upright on the surface, quarters decide.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void Borders_folds_and_upright_triangles_are_told_right()
    {
        var sheet = Solids.Sheet(10, 10, 1);
        // 0.5 mm over the border, level with the sheet.
        var over = Solids.Of([new(8, 5, 0), new(10.5, 5, 0), new(8, 6, 0)], [0, 1, 2]);
        Beyond(over, sheet, 0.51).Should().BeEmpty();
        Beyond(over, sheet, 0.49).Should().Equal(0);
        // Upright, 0.5 mm high.
        var upright = Solids.Of([new(2, 5, 0), new(8, 5, 0), new(5, 5, 0.5)], [0, 1, 2]);
        Beyond(upright, sheet, 0.51).Should().BeEmpty();
        Beyond(upright, sheet, 0.49).Should().Equal(0);
        // A lid over a box without its top: its middle is 5 mm from the walls.
        var walls = Solids.Of([new(0, 0, 0), new(10, 0, 0), new(10, 10, 0), new(0, 10, 0), new(0, 0, -9), new(10, 0, -9), new(10, 10, -9), new(0, 10, -9)],
            [0, 4, 1, 1, 4, 5, 1, 5, 2, 2, 5, 6, 2, 6, 3, 3, 6, 7, 3, 7, 0, 0, 7, 4]);
        Beyond(Solids.Sheet(1, 1, 10), walls, 5.2).Should().BeEmpty();
        Beyond(Solids.Sheet(1, 1, 10), walls, 4.9).Should().Equal(0, 1);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Triangles_without_area_on_either_side_are_measured_like_others()
    {
        var line = Solids.Of([new(0, 0, 0.3), new(5, 5, 0.3), new(10, 10, 0.3)], [0, 1, 2]);
        Beyond(line, Solids.Sheet(10, 10, 1), 0.31).Should().BeEmpty();
        Beyond(line, Solids.Sheet(10, 10, 1), 0.29).Should().Equal(0);
        Beyond(line, line, 0.01).Should().BeEmpty();
        Beyond(line, Mesh.Empty, 100).Should().Equal(0);
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Threads_do_not_change_the_answer()
    {
        var (a, b) = (SmoothTests.Noisy(Solids.Icosphere(5, 50), 0.2, 1), SmoothTests.Noisy(Solids.Icosphere(4, 50), 0.2, 2));
        var one = new HausdorffBound(TriangleTree.Build(b, s_run), EdgeTable.Build(b), 0.5).Beyond(a, new(threads: 1));
        one.Count.Should().BeInRange(1, a.TriangleCount - 1);
        foreach (var threads in (int[])[2, 3, 16])
            new HausdorffBound(TriangleTree.Build(b, s_run), EdgeTable.Build(b), 0.5).Beyond(a, new(threads: threads)).Should().Equal(one);
    }

    private static List<int> Beyond(Mesh from, Mesh to, double limitMm) =>
        new HausdorffBound(TriangleTree.Build(to, s_run), EdgeTable.Build(to), limitMm).Beyond(from, s_run);

    private static (double Mm, double SpacingMm) Farthest(Mesh mesh, int t, TriangleTree to)
    {
        const int parts = 24;
        var (a, b, c) = mesh.Triangle(t);
        Vec3 p = mesh.Vertex(a), q = mesh.Vertex(b), r = mesh.Vertex(c);
        double farthest = 0;
        for (var i = 0; i <= parts; i++)
            for (var j = 0; i + j <= parts; j++)
                farthest = Math.Max(farthest, to.Nearest(((p * i) + (q * j) + (r * (parts - i - j))) / parts).DistanceMm);
        return (farthest, Math.Max(Vec3.Distance(p, q), Math.Max(Vec3.Distance(q, r), Vec3.Distance(r, p))) / parts);
    }
}
