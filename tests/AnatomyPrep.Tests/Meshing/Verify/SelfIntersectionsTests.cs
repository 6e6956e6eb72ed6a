using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Tests.Meshing.Spatial;

namespace AnatomyPrep.Tests.Meshing.Verify;

public class SelfIntersectionsTests
{
    private static readonly RunContext s_run = new(threads: 1);

    /// <summary>Every pair by the constructed common set; triangles of soups share nothing, those of the snapped soups many corners.</summary>
    [Theory]
    [Trait("Kind", "Property")]
    [InlineData(1, false)]
    [InlineData(2, false)]
    [InlineData(3, true)]
    [InlineData(4, true)]
    [InlineData(5, true)]
    public void Pairs_are_those_that_trying_all_finds(int seed, bool snapped)
    {
        var mesh = TriangleTreeTests.Soup(60, 3, seed, extent: 6);
        if (snapped)
            mesh = new Mesh(Vec3.Zero, [.. mesh.PositionArray.Select(x => MathF.Round(x))], mesh.TriangleArray).Welded();
        var found = SelfIntersections.Find(mesh, s_run).Pairs.ToDictionary(p => (p.First, p.Second), p => p.Contact);
        var some = 0;
        for (var i = 0; i < mesh.TriangleCount; i++)
        {
            for (var j = i + 1; j < mesh.TriangleCount; j++)
            {
                int[] a = [.. mesh.Triangles.Slice(3 * i, 3)], b = [.. mesh.Triangles.Slice(3 * j, 3)];
                var repeats = a.Distinct().Count() < 3 || b.Distinct().Count() < 3;
                var expected = repeats ? Contact.None : ExactContact.Of([.. a.Select(mesh.Local)], [.. b.Select(mesh.Local)], a, b);
                var contact = found.GetValueOrDefault((i, j));

                // Touching may have been found to be a passing through along an edge.
                if (contact == Contact.Crossing && expected == Contact.Touching)
                    expected = Contact.Crossing;
                contact.Should().Be(expected, "triangles {0} and {1}", i, j);
                some += contact == Contact.None ? 0 : 1;
            }
        }

        some.Should().BePositive().And.Be(found.Count);
    }

    /// <summary>
    /// Counts from data/PROVENANCE.md: pairs that share no vertex after joining equal positions and have points in common, by an
    /// independent test in double precision, touching included. Ours: crossing, overlapping and touching together, exactly.
    /// face-model-parts: 6937 there and by our test on the file's decimals read as doubles; 6935 on float32 positions.
    /// mask_cone: 111 there, 110 exactly, as the general geometry library of the slow test says too.
    /// </summary>
    [Theory]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    [InlineData("face-model-parts.obj", 6937, -2)]
    [InlineData("self_intersectA.obj", 338, 0)]
    [InlineData("bones.off", 366, 0)]
    [InlineData("mask_cone.off", 111, -1)]
    [InlineData("skull.obj", 0, 0)]
    [InlineData("femur.off", 0, 0)]
    [InlineData("head.off", 0, 0)]
    [InlineData("elephant-with-holes.off", 0, 0)]
    [InlineData("head-scan-lps.obj", 246, 0)]
    public void Pairs_without_a_common_vertex_are_as_many_as_an_outside_test_counted(string file, int outside, int difference)
    {
        var mesh = TestMeshes.Shared(file).Welded();
        var pairs = SelfIntersections.Find(mesh, RunContext.Default).Pairs;
        pairs.Count(p => Shared(mesh, p) == 0).Should().Be(outside + difference);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Two_boxes_crossing_touching_and_apart_are_told_apart()
    {
        var box = TestMeshes.Box(Vec3.Zero, new Vec3(4, 4, 4));
        IntersectingPairs With(Vec3 min, Vec3 max) => SelfIntersections.Find(TestMeshes.Join(box, TestMeshes.Box(min, max)), s_run);

        With(new Vec3(5, 0, 0), new Vec3(6, 1, 1)).Pairs.Should().BeEmpty();
        var corner = With(new Vec3(4, 4, 4), new Vec3(6, 6, 6));
        (corner.Crossing, corner.Overlapping).Should().Be((0, 0));
        corner.Touching.Should().BePositive("they meet in a corner");
        var edge = With(new Vec3(4, 4, 1), new Vec3(6, 6, 2));
        (edge.Crossing, edge.Overlapping).Should().Be((0, 0));
        edge.Touching.Should().BePositive("they meet along an edge");
        With(new Vec3(4, 1, 1), new Vec3(6, 2, 2)).Overlapping.Should().BePositive("one stands on the other");
        With(new Vec3(2, 2, 2), new Vec3(6, 6, 6)).Crossing.Should().BePositive();
        SelfIntersections.Find(box, s_run).Pairs.Should().BeEmpty();
    }

    /// <summary>A sheet whose edge line lies exactly in another sheet: no two triangles have inner points in common, yet it passes through.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void Sheet_that_passes_through_exactly_along_its_edges_is_crossing()
    {
        var level = TestMeshes.GridSheet(2, 2, 8, 8);
        var upright = TestMeshes.Of(
            [new(1, 3, -2), new(7, 3, -2), new(1, 3, 0), new(7, 3, 0), new(1, 3, 2), new(7, 3, 2)],
            [0, 1, 3, 0, 3, 2, 2, 3, 5, 2, 5, 4]);
        SelfIntersections.Find(TestMeshes.Join(level, upright), s_run).Crossing.Should().BePositive();

        // The upper half alone only stands on it.
        var standing = TestMeshes.Of([new(1, 3, 0), new(7, 3, 0), new(1, 3, 2), new(7, 3, 2)], [0, 1, 3, 0, 3, 2]);
        var stands = SelfIntersections.Find(TestMeshes.Join(level, standing), s_run);
        stands.Crossing.Should().Be(0);
        stands.Touching.Should().BePositive();

        // Bent back up, both halves on one side: it rests on its edge.
        var bent = TestMeshes.Of(
            [new(1, 5, 2), new(7, 5, 2), new(1, 3, 0), new(7, 3, 0), new(1, 3, 2), new(7, 3, 2)],
            [0, 1, 3, 0, 3, 2, 2, 3, 5, 2, 5, 4]);
        var rests = SelfIntersections.Find(TestMeshes.Join(level, bent), s_run);
        rests.Crossing.Should().Be(0);
        rests.Touching.Should().BePositive();
    }

    /// <summary>Four sheets around one line, owned in pairs by two surfaces: they pass through each other when the owners take turns.</summary>
    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(0, 90, 45, 200, true)]
    [InlineData(0, 180, 90, 270, true)]
    [InlineData(0, 90, 100, 200, false)]
    [InlineData(0, 180, 20, 160, false)]
    [InlineData(10, 300, 200, 350, true)]
    [InlineData(10, 300, 20, 290, false)]
    [InlineData(0, 90, 180, 270, false)]
    [InlineData(0, 180, 90, 45, false)]
    public void Surfaces_meeting_edge_on_edge_cross_when_their_sheets_take_turns(int a, int b, int p, int q, bool crosses)
    {
        // Corners on a circle of whole numbers near the angle asked, so that the line is met exactly.
        Vec3 At(int angle) => new(Math.Round(1000 * Math.Cos(angle * Math.PI / 180)), Math.Round(1000 * Math.Sin(angle * Math.PI / 180)), 0);
        Mesh Bent(int first, int second, double from, double to) => TestMeshes.Of(
            [new(0, 0, from), new(0, 0, to), At(first), At(second)], [0, 1, 2, 1, 0, 3]);
        var mesh = TestMeshes.Join(Bent(a, b, -900, 500), Bent(p, q, -500, 900));
        var found = SelfIntersections.Find(mesh, s_run);
        found.Overlapping.Should().Be(0);
        (found.Crossing > 0).Should().Be(crosses);
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Pairs_are_the_same_on_any_number_of_threads()
    {
        var mesh = TestMeshes.Join(TestMeshes.Torus(30, 12, 200, 100), TestMeshes.Torus(30, 12, 200, 100).Moved(Affine3.Translate(new Vec3(3.3, 2.2, 1.1))));
        var expected = SelfIntersections.Find(mesh, s_run).Pairs;
        expected.Count.Should().BeGreaterThan(1000);
        expected.Should().BeInAscendingOrder();
        foreach (var threads in new[] { 2, 3, 16 })
            SelfIntersections.Find(mesh, new RunContext(threads: threads)).Pairs.SequenceEqual(expected).Should().BeTrue();
    }

    /// <summary>Ten thousand triangles on one place are fifty million pairs: the search must end early and say so.</summary>
    [Fact]
    [Trait("Kind", "Hostile")]
    public void Search_ends_at_its_limit_and_says_so()
    {
        var mesh = new Mesh(Vec3.Zero, [0, 0, 0, 1, 0, 0, 0, 1, 0], [.. Enumerable.Repeat(new[] { 0, 1, 2 }, 10_000).SelectMany(t => t)]);
        var found = SelfIntersections.Find(mesh, RunContext.Default, most: 100_000);
        found.Complete.Should().BeFalse();
        found.Overlapping.Should().BeInRange(12_500, 3_000_000);
        SelfIntersections.Find(TestMeshes.Cube(), s_run, most: 0).Complete.Should().BeTrue();
    }

    /// <summary>
    /// A general-purpose geometry library on the welded meshes: its pairs are ours of all three kinds, except
    /// that it lists a triangle without area as a pair with itself.
    /// </summary>
    [Theory]
    [Trait("Kind", "Slow")]
    [Trait("Needs", "Shared")]
    [InlineData("self_intersectA.obj")]
    [InlineData("bones.off")]
    [InlineData("mask_cone.off")]
    [InlineData("blobby_3cc.off")]
    [InlineData("b9_mesh.off")]
    [InlineData("elephant-with-holes.off")]
    [InlineData("openscad-nonmanifold-crash.obj")]
    [InlineData("face-model-parts.obj")]
    [InlineData("skull.obj")]
    public void Every_pair_agrees_with_a_general_geometry_library(string file)
    {
        var mesh = TestMeshes.Shared(file);
        var theirs = CgalMesh.Pairs(mesh).Where(p => p.First != p.Second).Select(p => (Math.Min(p.First, p.Second), Math.Max(p.First, p.Second))).Order().ToArray();
        var ours = SelfIntersections.Find(mesh, RunContext.Default).Pairs.Select(p => (p.First, p.Second)).ToArray();
        ours.SequenceEqual(theirs).Should().BeTrue("{0} pairs of theirs, {1} of ours", theirs.Length, ours.Length);
    }

    private static int Shared(Mesh mesh, TrianglePair pair) =>
        mesh.Triangles.Slice(3 * pair.First, 3).ToArray().Intersect(mesh.Triangles.Slice(3 * pair.Second, 3).ToArray()).Count();
}
