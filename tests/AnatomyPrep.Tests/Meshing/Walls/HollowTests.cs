using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Walls;
using AnatomyPrep.Tests.Meshing.Shape;

namespace AnatomyPrep.Tests.Meshing.Walls;

public sealed class HollowTests
{
    private static readonly RunContext s_run = new();

    /// <summary>4/3·π·(R³ − (R − t)³). Facets of the sphere lie inside it by at most e²/8R, 0.1 %, the cavity's by h²/8(R − t), 0.03 %.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void Hollow_sphere_has_the_volume_between_two_spheres()
    {
        const double r = 20, t = 3;
        var sphere = TestMeshes.Icosphere(5, r, new Vec3(100, -50, 30));
        var hollow = Hollow.Apply(sphere, new(t, 0.5), s_run);
        MakeShellTests.MustBeSolid(hollow.Mesh);
        var expected = 4.0 / 3 * Math.PI * (Math.Pow(r, 3) - Math.Pow(r - t, 3));
        hollow.Effect.VolumeAfterMm3.Should().BeApproximately(expected, 0.005 * expected);
        hollow.Effect.Measures!["wallMedianMm"].Should().BeApproximately(t, 0.01);
        hollow.Effect.Measures["cavities"].Should().Be(1);
        hollow.Effect.Measures["solidShare"].Should().Be(0);
    }

    /// <summary>2·π²·R·(r² − (r − t)²); facets across the tube lower its section by 1 − sin(2π/48)/(2π/48) = 0.3 %, the cavity's likewise.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void Hollow_torus_is_a_tube_within_a_tube()
    {
        var torus = TestMeshes.Torus(30, 10, 96, 48);
        var hollow = Hollow.Apply(torus, new(3, 0.5), s_run);
        MakeShellTests.MustBeSolid(hollow.Mesh);
        var section = 48 / 2.0 * Math.Sin(2 * Math.PI / 48) / Math.PI;
        var expected = 2 * Math.PI * Math.PI * 30 * section * (100 - 49);
        hollow.Effect.VolumeAfterMm3.Should().BeApproximately(expected, 0.005 * expected);
        MeshAssert.Euler(hollow.Mesh).Should().Be(0, "both surfaces are tori");
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void The_outer_surface_stays_byte_for_byte_in_front()
    {
        var solid = TestMeshes.Torus(30, 10, 40, 24);
        var hollow = Hollow.Apply(solid, new(2), s_run).Mesh;
        hollow.Positions[..solid.Positions.Length].SequenceEqual(solid.Positions).Should().BeTrue();
        hollow.Triangles[..solid.Triangles.Length].SequenceEqual(solid.Triangles).Should().BeTrue();
        hollow.Origins[..solid.TriangleCount].SequenceEqual(solid.Origins).Should().BeTrue();
        hollow.Origins[solid.TriangleCount..].ToArray().Should().OnlyContain(o => o == Origin.Offset);
    }

    /// <summary>A plate of 4 mm is nowhere thicker than two walls of 2.5 mm; of two balls the small one is not.</summary>
    [Fact]
    [Trait("Kind", "Property")]
    public void Thin_places_stay_solid_and_are_told()
    {
        var solid = TestMeshes.Box(Vec3.Zero, new(40, 40, 4));
        var nowhere = () => Hollow.Apply(solid, new(2.5), s_run);
        nowhere.Should().Throw<CheckFailedException>().WithMessage("*thicker than 5 mm*");

        var joined = TestMeshes.Join(TestMeshes.Icosphere(4, 12.5), TestMeshes.Icosphere(3, 2.5, new Vec3(40, 0, 0)));
        var hollow = Hollow.Apply(joined, new(2.5), s_run);
        MakeShellTests.MustBeSolid(hollow.Mesh);
        hollow.Effect.Measures!["cavities"].Should().Be(1);
        // Area of the small ball of radius 2.5 over that of both: 2.5²/(2.5² + 12.5²) = 3.8 %.
        hollow.Effect.Measures["solidShare"].Should().BeApproximately(0.0385, 0.005);
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Small_cavities_are_not_made_with_a_finding()
    {
        var solid = TestMeshes.Join(TestMeshes.Icosphere(4, 12), TestMeshes.Icosphere(3, 3.5, new Vec3(40, 0, 0)));
        var hollow = Hollow.Apply(solid, new(2.5, MinimumCavityMm3: 20), s_run);
        hollow.Effect.Measures!["cavities"].Should().Be(1);
        hollow.Findings.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.CavitiesNotMade);
        var all = Hollow.Apply(solid, new(2.5, MinimumCavityMm3: 0), s_run);
        all.Effect.Measures!["cavities"].Should().Be(2);
        all.Findings.Should().BeEmpty();
        var none = () => Hollow.Apply(solid, new(2.5, MinimumCavityMm3: 1e6), s_run);
        none.Should().Throw<CheckFailedException>().WithMessage("*minCavityMm3*");
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Only_solids_become_hollow()
    {
        var open = () => Hollow.Apply(TestMeshes.Icosphere(2, 20).Without(3), new(), s_run);
        open.Should().Throw<CheckFailedException>().WithMessage("*openings*");
        var turned = () => Hollow.Apply(TestMeshes.Icosphere(2, 20).Turned(), new(), s_run);
        turned.Should().Throw<CheckFailedException>().WithMessage("*inside out*");
        var crossing = () => Hollow.Apply(TestMeshes.Join(TestMeshes.Icosphere(2, 20), TestMeshes.Icosphere(2, 20, new Vec3(15, 1, 2))), new(), s_run);
        crossing.Should().Throw<CheckFailedException>().WithMessage("*cross*");
        var empty = () => Hollow.Apply(Mesh.Empty, new(), s_run);
        empty.Should().Throw<CheckFailedException>();
        var thickness = () => Hollow.Apply(TestMeshes.Icosphere(2, 20), new(0), s_run);
        thickness.Should().Throw<PlanException>().Which.Parameter.Should().Be("thicknessMm");
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Same_bytes_on_any_number_of_threads()
    {
        var torus = TestMeshes.Torus(30, 10, 40, 24);
        var expected = Hollow.Apply(torus, new(2, 0.6), new RunContext(threads: 1));
        foreach (var threads in new[] { 2, 3, 16 })
            MeshAssert.SameBytes(Hollow.Apply(torus, new(2, 0.6), new RunContext(threads: threads)).Mesh, expected.Mesh).Should().BeTrue();
    }
}
