using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Tests.Meshing.Shape;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Verify;

public sealed class ShellsTests
{
    private static readonly RunContext s_run = new();
    private static readonly int[] s_five = [0, 1, 2, 3, 4];

    /// <summary>Balls in balls, in any order and either way round: depth by the radii, outward by depth and side.</summary>
    [Fact]
    [Trait("Kind", "Property")]
    public void Balls_within_balls_are_counted_by_depth() =>
        Gen.Select(Gen.Int[1, 5], Gen.Shuffle(s_five), Gen.Bool.Array[5], Gen.Int[0, 2]).Sample(
            (count, order, inward, level) =>
            {
                // Ball i has radius 10·(i + 1); those beyond count are left out.
                var balls = order.Where(i => i < count).ToArray();
                var mesh = Solids.Merged([.. balls.Select(i => inward[i] ? Solids.InsideOut(Ball(i)) : Ball(i))]);
                Mesh Ball(int i) => Solids.Icosphere(level, 10 * (i + 1), new(0.3 * i, 0.2, 5));
                var shells = Measure(mesh);
                shells.All.Should().HaveCount(count);
                for (var s = 0; s < count; s++)
                {
                    var depth = count - 1 - balls[s];
                    shells.All[s].Depth.Should().Be(depth);
                    shells.All[s].Closed.Should().BeTrue();
                    shells.All[s].Outward.Should().Be(inward[balls[s]] == (depth % 2 == 1));
                    shells.All[s].SignedVolumeMm3.Should().BeApproximately((inward[balls[s]] ? -1 : 1) * MeshAssert.VolumeMm3(Ball(balls[s])), 1e-6 * Math.Pow(10 * (balls[s] + 1), 3));
                }
            },
            iter: 100);

    /// <summary>A small cube that shares a face, an edge or a corner with a large one's wall, from inside.</summary>
    [Theory]
    [Trait("Kind", "Hostile")]
    [InlineData(0, 4, 4)]
    [InlineData(0, 0, 4)]
    [InlineData(0, 0, 0)]
    [InlineData(3, 3, 0)]
    public void A_part_that_touches_another_from_within_still_lies_in_it(double x, double y, double z)
    {
        var mesh = Solids.Merged(Solids.GridBox(2, 10), Solids.InsideOut(Solids.Box(new(x, y, z), new(x + 2, y + 2.5, z + 3))));
        var shells = Measure(mesh);
        // Faces that lie on each other belong to parts that cross: such are in none of each other.
        var overlaps = x == 0 || y == 0 || z == 0;
        shells.All[1].Depth.Should().Be(overlaps ? 0 : 1);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_corner_that_rests_on_the_wall_does_not_fool_the_count()
    {
        // A pyramid in the cube whose tip touches the wall.
        var pyramid = Solids.Of([new(10, 5, 5), new(6, 4, 4), new(6, 6, 4), new(6, 5, 6)], [0, 2, 1, 0, 3, 2, 0, 1, 3, 1, 2, 3]);
        var shells = Measure(Solids.Merged(Solids.GridBox(2, 10), pyramid));
        shells.All.Select(s => s.Depth).Should().Equal(0, 1);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Open_parts_contain_nothing_and_face_outward_unless_clearly_not()
    {
        var bowl = CutOpen(Solids.Icosphere(3, 20));
        var mesh = Solids.Merged(bowl, Solids.Icosphere(2, 3, new(0, 0, -15)), Solids.InsideOut(CutOpen(Solids.Icosphere(3, 20, new(100, 0, 0)))));
        var shells = Measure(mesh);
        shells.All.Select(s => s.Closed).Should().Equal(false, true, false);
        shells.All.Select(s => s.Depth).Should().Equal(0, 0, 0);
        shells.All.Select(s => s.Outward).Should().Equal(true, true, false);
        shells.OfTriangle[^1].Should().Be(2);

        static Mesh CutOpen(Mesh mesh) =>
            AnatomyPrep.Meshing.Shape.CutSphere.Apply(mesh, new(mesh.BoundsMm().Center + new Vec3(0, 0, 20), 15, AnatomyPrep.Meshing.Shape.ZoneKeep.Outside), s_run).Mesh;
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Parts_that_cross_are_in_none_of_each_other()
    {
        var shells = Measure(Solids.Merged(Solids.Icosphere(2, 10), Solids.Icosphere(2, 10, new(9, 0, 0)), Solids.Icosphere(1, 1, new(4.5, 0, 0))));
        shells.All.Select(s => s.Depth).Should().Equal(0, 0, 2);
    }

    private static Shells Measure(Mesh mesh)
    {
        var tree = TriangleTree.Build(mesh, s_run);
        var edges = EdgeTable.Build(mesh);
        return Shells.Measure(tree, edges, SelfIntersections.Find(tree, edges, s_run), s_run);
    }
}
