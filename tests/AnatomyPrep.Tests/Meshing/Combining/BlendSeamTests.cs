using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Combining;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Tests.Meshing.Shape;

namespace AnatomyPrep.Tests.Meshing.Combining;

public sealed class BlendSeamTests
{
    private static readonly RunContext s_run = RunContext.Default;

    private static readonly Mesh s_ball = Solids.Icosphere(4, 10);

    private static readonly Mesh s_other = Solids.Icosphere(4, 10, new(12, 0, 0));

    [Fact]
    public void Only_vertices_near_the_seam_move_and_a_concave_seam_is_filled()
    {
        var union = Combine.Union(s_ball, s_other, s_run).Mesh;
        var result = BlendSeam.Apply(union, new(2, s_other), s_run);
        MeshFacts.Measure(result.Mesh, s_run).Solid.Should().BeTrue();
        result.Effect.VolumeAfterMm3.Should().BeGreaterThan(result.Effect.VolumeBeforeMm3!.Value);
        result.Effect.MaxDisplacementMm.Should().BeInRange(0.1, 2);
        // The seam is the circle x = 6, radius 8. What is farther from it than 2 mm, and the width of the polygon's sides for the circle
        // (below 0.1), has the place it had.
        var before = Enumerable.Range(0, union.VertexCount).Select(union.Vertex).ToHashSet();
        var kept = 0;
        for (var v = 0; v < result.Mesh.VertexCount; v++)
        {
            var p = result.Mesh.Vertex(v);
            var toSeam = Math.Sqrt(Math.Pow(p.X - 6, 2) + Math.Pow(Math.Sqrt((p.Y * p.Y) + (p.Z * p.Z)) - 8, 2));
            if (toSeam > 2.1)
                MeshAssert.Distance(p, union).Should().BeLessThan(2e-6);
            kept += before.Contains(p) ? 1 : 0;
        }

        kept.Should().BeGreaterThan(union.VertexCount / 2);
        result.Findings.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.SeamBlended);
    }

    [Fact]
    public void The_bend_at_the_seam_becomes_less()
    {
        var union = Combine.Union(s_ball, s_other, s_run).Mesh;
        var blended = BlendSeam.Apply(union, new(3, s_other), s_run).Mesh;
        // The spheres meet at an angle of 180° − 2 · acos(6/10) = 73.7°.
        SharpestBendDeg(union).Should().BeInRange(70, 80);
        SharpestBendDeg(blended).Should().BeLessThan(35);
    }

    [Fact]
    public void A_convex_seam_is_rounded_off()
    {
        var lens = Combine.Intersection(s_ball, s_other, s_run).Mesh;
        var result = BlendSeam.Apply(lens, new(1.5, s_other), s_run);
        MeshFacts.Measure(result.Mesh, s_run).Solid.Should().BeTrue();
        result.Effect.VolumeAfterMm3.Should().BeLessThan(result.Effect.VolumeBeforeMm3!.Value);
    }

    [Fact]
    public void Without_another_solid_the_seam_is_where_origins_differ()
    {
        var block = Solids.Box(new(0, 0, 0), new(20, 20, 10));
        var pin = Solids.Box(new(8, 8, 5), new(12, 12, 20), Origin.Added);
        var result = BlendSeam.Apply(Combine.Union(block, pin, s_run).Mesh, new(1.5), s_run);
        MeshFacts.Measure(result.Mesh, s_run).Solid.Should().BeTrue();
        result.Effect.Measures!["seamLengthMm"].Should().BeApproximately(16, 1e-5);
        // A fillet round the pin's foot: above nothing, below what fills the whole corner of 1.5 mm along 16 mm and its four ends.
        (result.Effect.VolumeAfterMm3 - result.Effect.VolumeBeforeMm3).Should().BeInRange(0.5, (16 * 1.5 * 1.5 / 2) + (4 * 1.5 * 1.5 * 1.5));
        var bounds = MeshFacts.Measure(result.Mesh, s_run).BoundsMm!;
        bounds[0].Should().Equal(0, 0, 0);
        bounds[1].Should().Equal(20, 20, 20);
    }

    [Fact]
    public void What_cannot_be_done_is_refused_with_the_reason()
    {
        var act = () => BlendSeam.Apply(s_ball, new(1), s_run);
        act.Should().Throw<CheckFailedException>().Which.Message.Should().Contain("seam");
        act = () => BlendSeam.Apply(Solids.Sheet(3, 3, 1), new(1), s_run);
        act.Should().Throw<CheckFailedException>().Which.Message.Should().Contain("open surface");
        act = () => BlendSeam.Apply(s_ball, new(0), s_run);
        act.Should().Throw<PlanException>().Which.Parameter.Should().Be("widthMm");
    }

    [Fact]
    public void Same_bytes_on_any_number_of_threads()
    {
        var union = Combine.Union(s_ball, s_other, s_run).Mesh;
        var first = BlendSeam.Apply(union, new(2, s_other), new RunContext(threads: 1)).Mesh;
        foreach (var threads in (int[])[2, 3, 16])
            MeshAssert.SameBytes(BlendSeam.Apply(union, new(2, s_other), new RunContext(threads: threads)).Mesh, first).Should().BeTrue();
    }

    private static double SharpestBendDeg(Mesh mesh)
    {
        var edges = EdgeTable.Build(mesh);
        var sharpest = 0.0;
        for (var h = 0; h < edges.Opposite.Length; h++)
        {
            var (n, m) = (Normal(h / 3), Normal(edges.Opposite[h] / 3));
            sharpest = Math.Max(sharpest, Math.Atan2(Vec3.Cross(n, m).Length, Vec3.Dot(n, m)) * 180 / Math.PI);
        }

        return sharpest;

        Vec3 Normal(int t)
        {
            var (a, b, c) = mesh.Triangle(t);
            return Vec3.Cross(mesh.Local(b) - mesh.Local(a), mesh.Local(c) - mesh.Local(a)).Normalized();
        }
    }
}
