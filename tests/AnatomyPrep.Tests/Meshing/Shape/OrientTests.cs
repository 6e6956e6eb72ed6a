using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Shape;

public sealed class OrientTests
{
    private static readonly RunContext s_run = new();

    /// <summary>PROVENANCE.md: head.off is inside out, all 2,918 triangles turned, signed volume −1075.4057.</summary>
    [Fact]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    public void A_head_that_is_inside_out_turns_outward()
    {
        var head = Solids.Read(SharedData.File("data/meshes/head.off"));
        var turned = Orient.Apply(head, new(), s_run);

        turned.Effect.Measures!["flippedTriangles"].Should().Be(2918);
        turned.Effect.Measures["flippedPatches"].Should().Be(1);
        // The surface is open, so its volume depends on the point it is taken about: the table's is the coordinate origin.
        double aboutOrigin = 0;
        for (var t = 0; t < turned.Mesh.TriangleCount; t++)
        {
            var (a, b, c) = turned.Mesh.Triangle(t);
            aboutOrigin += Vec3.Dot(turned.Mesh.Vertex(a), Vec3.Cross(turned.Mesh.Vertex(b), turned.Mesh.Vertex(c))) / 6;
        }

        aboutOrigin.Should().BeApproximately(1075.4057, 1e-3);
        turned.Effect.VolumeAfterMm3.Should().BePositive().And.Be(-turned.Effect.VolumeBeforeMm3!.Value);
        turned.Effect.ChangedAreaMm2.Should().BeApproximately(549.6918, 1e-3);
        turned.Mesh.Positions.SequenceEqual(head.Positions).Should().BeTrue();
        Orient.Apply(turned.Mesh, new(), s_run).Mesh.Should().BeSameAs(turned.Mesh, "it is in order now");
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Triangles_turned_at_random_are_turned_back() =>
        Gen.Select(Gen.Int[0, 3], Gen.Int[0, 1 << 30], Gen.Double[0, 0.45]).Sample(
            (kind, seed, share) =>
            {
                var mesh = kind switch
                {
                    0 => Solids.Icosphere(3, 10),
                    1 => Solids.Torus(30, 10, 24, 12),
                    2 => Solids.GridBox(6, 10),
                    _ => Solids.Merged(Solids.Icosphere(2, 10), Solids.Icosphere(2, 5, new(40, 0, 0))),
                };
                var random = new Random(seed);
                var triangles = mesh.Triangles.ToArray();
                var turned = 0;
                for (var t = 0; t < triangles.Length; t += 3)
                    if (random.NextDouble() < share)
                    {
                        (triangles[t + 1], triangles[t + 2]) = (triangles[t + 2], triangles[t + 1]);
                        turned++;
                    }

                var back = Orient.Apply(new Mesh(Vec3.Zero, mesh.PositionArray, triangles), new(), s_run);
                // A triangle turned twice names its corners in the order it came in.
                back.Mesh.Triangles.SequenceEqual(mesh.Triangles).Should().BeTrue();
                back.Effect.Measures!["flippedTriangles"].Should().Be(turned);
                MeshAssert.VolumesAsStated(new Mesh(Vec3.Zero, mesh.PositionArray, triangles), back.Mesh, back.Effect);
                back.Findings.Should().BeEmpty();
            },
            iter: 60);

    /// <summary>Skin, a void in it, and a loose body in the void; each given either way round.</summary>
    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(false, false, false)]
    [InlineData(false, true, false)]
    [InlineData(true, false, true)]
    [InlineData(true, true, true)]
    [InlineData(false, true, true)]
    public void Nested_shells_follow_the_rule_that_is_asked_for(bool outer, bool middle, bool inner)
    {
        static Mesh Ball(double radius, bool inward) => inward ? Solids.InsideOut(Solids.Icosphere(2, radius)) : Solids.Icosphere(2, radius);
        var mesh = Solids.Merged(Ball(20, outer), Ball(15, middle), Ball(10, inner));

        SignsOf(Orient.Apply(mesh, new(Nested: NestedShells.Solids), s_run)).Should().Equal(1, 1, 1);
        SignsOf(Orient.Apply(mesh, new(Nested: NestedShells.Cavities), s_run)).Should().Equal(1, -1, 1);
        // As found: what agreed with the outermost shell is solid, what disagreed with it is void.
        SignsOf(Orient.Apply(mesh, new(Nested: NestedShells.AsFound), s_run)).Should().Equal(1, middle == outer ? 1 : -1, inner == outer ? 1 : -1);
        SignsOf(Orient.Apply(mesh, new(Nested: NestedShells.Cavities, Flip: true), s_run)).Should().Equal(-1, 1, -1);
        SignsOf(Orient.Apply(mesh, new(Outward: false), s_run)).Should().Equal(outer ? -1 : 1, middle ? -1 : 1, inner ? -1 : 1);

        static int[] SignsOf(ShapeResult result)
        {
            var part = result.Mesh.TriangleCount / 3;
            return [.. Enumerable.Range(0, 3).Select(i => Math.Sign(MeshAssert.VolumeMm3(new Mesh(Vec3.Zero, result.Mesh.PositionArray, result.Mesh.TriangleArray[(3 * part * i)..(3 * part * (i + 1))]))))];
        }
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Shells_that_merely_overlap_are_solids()
    {
        var mesh = Solids.Merged(Solids.Icosphere(2, 10), Solids.InsideOut(Solids.Icosphere(2, 10, new(9, 0, 0))));
        var turned = Orient.Apply(mesh, new(Nested: NestedShells.Cavities), s_run);
        turned.Effect.Measures!["flippedTriangles"].Should().Be(320);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_dome_faces_outward_and_a_flat_sheet_has_no_outside()
    {
        static double Dome(double x, double y) => 3 - (((x - 5) * (x - 5)) + ((y - 5) * (y - 5))) / 20;
        var dome = Solids.Sheet(20, 20, 0.5, Dome);
        Orient.Apply(Solids.InsideOut(dome), new(), s_run).Mesh.Triangles.SequenceEqual(dome.Triangles).Should().BeTrue();

        var sheet = Solids.Sheet(20, 20, 0.5);
        Orient.Apply(sheet, new(), s_run).Mesh.Should().BeSameAs(sheet);
        var back = Solids.InsideOut(sheet);
        Orient.Apply(back, new(), s_run).Mesh.Should().BeSameAs(back);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_one_sided_surface_stays_and_is_named()
    {
        const int steps = 24;
        var vertices = new List<Vec3>();
        for (var i = 0; i < steps; i++)
        {
            var (s, c) = Math.SinCos(2 * Math.PI * i / steps);
            var (hs, hc) = Math.SinCos(Math.PI * i / steps);
            foreach (var w in (double[])[-3, 3])
                vertices.Add(new((20 + (w * hc)) * c, (20 + (w * hc)) * s, w * hs));
        }

        var triangles = new List<int>();
        for (var i = 0; i < steps; i++)
        {
            var (a, b) = (2 * i, (2 * i) + 1);
            // Half a turn: the last strip joins the other way round.
            var (c, d) = i == steps - 1 ? (1, 0) : (a + 2, b + 2);
            triangles.AddRange([a, c, b, b, c, d]);
        }

        var strip = Solids.Of([.. vertices], [.. triangles]);
        var result = Orient.Apply(strip, new(), s_run);
        result.Mesh.Should().BeSameAs(strip);
        result.Effect.Measures!["oneSidedShells"].Should().Be(1);
        var finding = result.Findings.Should().ContainSingle().Subject;
        finding.Code.Should().Be(FindingCodes.OneSidedSurface);
        finding.Place!.PositionMm.Should().NotBeNull();
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Edges_of_three_triangles_part_the_shells()
    {
        // Two tetrahedra that share an edge by index: four triangles at it.
        var mesh = Solids.Of(
            [new(0, 0, 0), new(0, 0, 2), new(1, 0, 1), new(0, 1, 1), new(-1, 0, 1), new(0, -1, 1)],
            [0, 2, 3, 0, 3, 1, 0, 1, 2, 1, 3, 2, 0, 4, 5, 0, 5, 1, 0, 1, 4, 1, 5, 4]);
        var result = Orient.Apply(Solids.InsideOut(mesh), new(), s_run);
        result.Effect.Measures!["oneSidedShells"].Should().Be(0);
        Orient.Apply(Mesh.Empty, new(), s_run).Mesh.TriangleCount.Should().Be(0);
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Threads_do_not_change_a_byte()
    {
        var balls = Enumerable.Range(0, 600).Select(i => Solids.Icosphere(0, 0.4, new(i % 10, i / 10 % 10, i / 100))).ToArray();
        var mesh = Solids.InsideOut(Solids.Merged([.. balls, Solids.InsideOut(Solids.Icosphere(3, 40))]));
        ShapeGen.SameOnAnyThreads(run => Orient.Apply(mesh, new(Nested: NestedShells.Cavities), run));
    }
}
