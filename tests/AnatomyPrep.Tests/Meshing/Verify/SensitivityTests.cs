using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Segment;
using AnatomyPrep.Meshing.Shape;
using AnatomyPrep.Meshing.Surface;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Phantoms.Catalogue;

namespace AnatomyPrep.Tests.Meshing.Verify;

public sealed class SensitivityTests
{
    private static readonly RunContext s_run = RunContext.Default;

    [Theory]
    [InlineData("linear-block", 500, 0.4)]
    [InlineData("wedge", 500, 0.2)]
    [Trait("Kind", "Truth")]
    public void The_shift_of_a_linear_edge_is_the_analytic_one(string phantom, short levelHu, double shiftMm)
    {
        // Edges of 1000 HU over 8 mm (4 mm for the wedge): 50 HU are 0.4 mm (0.2 mm) of distance, along the true normal.
        var (volume, mesh) = Surface(phantom, levelHu);
        using (volume)
        {
            var found = Sensitivity.Measure(mesh, volume, new(50, 5, levelHu), s_run);
            // Rounding to whole HU: 1 HU of 50 in either end at worst, and the mean of thousands of vertices is far better.
            foreach (var side in new[] { found.Lowered, found.Raised })
                side.P50Mm.Should().BeApproximately(shiftMm, 0.02 * shiftMm);
            if (phantom == "linear-block")
            {
                // Away from the block's edges, where a distance has a corner, every vertex: 2 HU of 50 from rounding, 4 %.
                for (var v = 0; v < mesh.VertexCount; v++)
                {
                    if (FarFromEdges(mesh.Vertex(v)))
                    {
                        ((double)found.LoweredMm[v]).Should().BeApproximately(shiftMm, 0.04 * shiftMm);
                        ((double)found.RaisedMm[v]).Should().BeApproximately(-shiftMm, 0.04 * shiftMm);
                    }
                }
            }
        }
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void It_tells_where_extraction_at_the_other_level_puts_the_surface()
    {
        var (volume, mesh) = Surface("ellipsoid", 500);
        using (volume)
        {
            var found = Sensitivity.Measure(mesh, volume, new(50, 5, 500), s_run);
            using var lower = Threshold.Apply(volume, new(450, short.MaxValue), s_run);
            var other = FlyingEdges.Extract(volume, lower, s_run).Mesh;
            var distances = SurfaceDistance.Compare(mesh, other, new(2_000, true), s_run).FirstVertexMm!;
            // Parallel surfaces 0.2 mm apart: nearest distance and distance along the normal agree to the interpolation error of both.
            var off = Enumerable.Range(0, mesh.VertexCount).Where(v => !float.IsNaN(found.LoweredMm[v])).Select(v => Math.Abs(Math.Abs(distances[v]) - Math.Abs(found.LoweredMm[v]))).Order().ToArray();
            off[(int)(0.95 * off.Length)].Should().BeLessThan(0.03);
        }
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_wall_that_the_higher_level_loses_counts_as_lost()
    {
        // A plate whose peak is 320 HU in 40: at 300 HU it is there, at 350 gone.
        using var volume = Grid.FromPatient(31, 31, Grid.Map(31, 31, 31), p => 40 + (280 * Math.Clamp(1 - (Math.Abs(p.X) / 4), 0, 1)));
        using var plate = Threshold.Apply(volume, new(300, short.MaxValue), s_run);
        var mesh = FlyingEdges.Extract(volume, plate, s_run).Mesh;
        var found = Sensitivity.Measure(mesh, volume, new(50, 5, 300), s_run);
        found.Raised.LostMm2.Should().BeApproximately(found.Raised.AreaMm2, 1e-6 * found.Raised.AreaMm2);
        found.Lowered.LostMm2.Should().Be(0);
        found.LargestMm().Where(d => !float.IsNaN(d)).Should().OnlyContain(d => d == 5);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_surface_that_was_moved_or_not_measured_is_refused()
    {
        var (volume, mesh) = Surface("sphere-in-water", 500);
        using (volume)
        {
            var moved = Move.Apply(mesh, new(new Vec3(15, 0, 0)), s_run).Mesh;
            ((Action)(() => Sensitivity.Measure(moved, volume, new(50, 5, 500), s_run))).Should().Throw<CheckFailedException>().WithMessage("*before those that move or scale*");
            var away = Move.Apply(mesh, new(new Vec3(5000, 0, 0)), s_run).Mesh;
            ((Action)(() => Sensitivity.Measure(away, volume, new(50, 5), s_run))).Should().Throw<CheckFailedException>();
            var cut = new Mesh(mesh.OriginMm, mesh.PositionArray, mesh.TriangleArray, [.. Enumerable.Repeat(Origin.Cut, mesh.TriangleCount)]);
            ((Action)(() => Sensitivity.Measure(cut, volume, new(50, 5, 500), s_run))).Should().Throw<CheckFailedException>().WithMessage("*a measured surface*");
        }
    }

    [Theory]
    [InlineData(1.6, true)]
    [InlineData(2.4, false)]
    [Trait("Kind", "Truth")]
    public void Walls_are_thin_below_two_samples_across(double thicknessMm, bool thin)
    {
        // Across slices 1 mm apart; in the slice samples lie 0.5 mm apart, so a standing wall of 1.6 mm is not thin.
        Mesh Plate(bool lying)
        {
            using var volume = Grid.FromPatient(61, 61, Grid.Map(61, 61, 31, 0.5, 0.5, 1), p => 1000 * ((thicknessMm / 2) - Math.Abs(lying ? p.Z : p.X)));
            using var plate = Threshold.Apply(volume, new(0, short.MaxValue), s_run);
            return FlyingEdges.Extract(volume, plate, s_run).Mesh;
        }

        var map = Grid.Map(61, 61, 31, 0.5, 0.5, 1);
        var lying = ThinWalls.Measure(Plate(true), map, 2, s_run);
        var standing = ThinWalls.Measure(Plate(false), map, 2, s_run);
        (lying.ThinMm2 / lying.MeasuredMm2).Should().BeApproximately(thin ? 1 : 0, 1e-9);
        standing.ThinMm2.Should().Be(0);
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Thread_count_changes_no_bit()
    {
        var (volume, mesh) = Surface("touching-bones", 520);
        using (volume)
        {
            new[] { 1, 2, 3, 16 }.Select(threads =>
            {
                var run = new RunContext(threads: threads);
                var found = Sensitivity.Measure(mesh, volume, new(50, 5, 520), run);
                return $"{found.Lowered} {found.Raised} {ThinWalls.Measure(mesh, volume.Map, 2, run)} {string.Join(' ', found.LoweredMm.Concat(found.RaisedMm).Select(BitConverter.SingleToInt32Bits))}";
            }).Distinct().Should().ContainSingle();
        }
    }

    private static (Volume Volume, Mesh Mesh) Surface(string phantom, short levelHu)
    {
        var volume = PhantomCatalogue.Create(phantom).ToVolume(s_run);
        using var region = Threshold.Apply(volume, new(levelHu, short.MaxValue), s_run);
        return (volume, FlyingEdges.Extract(volume, region, s_run).Mesh);
    }

    // In the block's own frame, 40 mm wide, turned by 12 degrees and off the grid: on one face, 6 mm from the others.
    private static bool FarFromEdges(Vec3 p)
    {
        var local = Affine3.Rotate(new Vec3(1, 2, 3), -12 * Math.PI / 180).MapDirection(p - new Vec3(0.13, -0.21, 0.37));
        return new[] { local.X, local.Y, local.Z }.Count(x => Math.Abs(x) < 14) == 2;
    }
}
