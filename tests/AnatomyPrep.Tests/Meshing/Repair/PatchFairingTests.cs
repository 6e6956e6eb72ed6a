using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Repair;

namespace AnatomyPrep.Tests.Meshing.Repair;

public class PatchFairingTests
{
    private static readonly RunContext s_run = RunContext.Default;

    /// <summary>Membrane and thin plate have the plane for their solution over a plane rim in plane surroundings.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void A_dented_plane_becomes_plane_again()
    {
        var sheet = RepairMeshes.Sheet(20, 20, 1);
        var (fairing, inner) = Fairing(sheet, p => Math.Abs(p.X - 10) < 4.5 && Math.Abs(p.Y - 10) < 4.5, p => p + new Vec3(0, 0, 3));
        inner.Should().Be(81);
        fairing.Membrane(s_run)!.Max(p => Math.Abs(p.Z)).Should().BeLessThan(1e-12);
        fairing.ThinPlate(s_run)!.Max(p => Math.Abs(p.Z)).Should().BeLessThan(1e-12);
    }

    /// <summary>
    /// Curved with the mean curvature 1/R of the sphere comes back to the sphere, thin plate falls short of it; both start from
    /// vertices pressed into one point.
    /// </summary>
    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(15)]
    [InlineData(40)]
    [InlineData(60)]
    public void A_cap_of_a_sphere_comes_back_within_a_hundredth_of_the_radius(double halfAngleDeg)
    {
        const double radius = 50;
        var height = radius * Math.Cos(halfAngleDeg * Math.PI / 180);
        var (fairing, _) = Fairing(TestMeshes.Icosphere(4, radius), p => p.Z > height, p => new Vec3(0, 0, height));

        var plate = fairing.ThinPlate(s_run)!;
        var curved = fairing.Curved([.. Enumerable.Repeat(1 / radius, 5000)], s_run)!;

        curved.Max(p => Math.Abs(p.Length - radius)).Should().BeLessThan(0.01 * radius);
        curved.Average(p => Math.Abs(p.Length - radius)).Should().BeLessThan(plate.Average(p => Math.Abs(p.Length - radius)));
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Nothing_to_shape_is_nothing_shaped()
    {
        var (fairing, inner) = Fairing(RepairMeshes.Sheet(3, 3, 1), _ => false, p => p);
        inner.Should().Be(0);
        fairing.Membrane(s_run).Should().BeEmpty();
        fairing.ThinPlate(s_run).Should().BeEmpty();
    }

    /// <summary>Vertices outside first: all of them may serve as rim, for none of them moves.</summary>
    private static (PatchFairing Fairing, int Inner) Fairing(Mesh mesh, Func<Vec3, bool> isInner, Func<Vec3, Vec3> spoil)
    {
        var outer = Enumerable.Range(0, mesh.VertexCount).Where(v => !isInner(mesh.Vertex(v))).ToArray();
        var inner = Enumerable.Range(0, mesh.VertexCount).Where(v => isInner(mesh.Vertex(v))).ToArray();
        var number = new int[mesh.VertexCount];
        for (var i = 0; i < outer.Length; i++)
            number[outer[i]] = i;
        for (var i = 0; i < inner.Length; i++)
            number[inner[i]] = outer.Length + i;
        Vec3[] points = [.. outer.Select(mesh.Vertex), .. inner.Select(v => spoil(mesh.Vertex(v)))];
        var triangles = Enumerable.Range(0, mesh.TriangleCount).Select(mesh.Triangle).Select(t => (number[t.A], number[t.B], number[t.C])).ToArray();
        return (new(points, triangles, outer.Length, inner.Length, mesh.BoundsMm().Diagonal), inner.Length);
    }
}
