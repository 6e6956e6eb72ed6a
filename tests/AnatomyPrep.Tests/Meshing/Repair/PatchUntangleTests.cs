using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Repair;

namespace AnatomyPrep.Tests.Meshing.Repair;

public class PatchUntangleTests
{
    // A square rim with a vertex in the middle, and what it must not touch: z below -1.
    private static readonly Vec3[] s_rim = [new(0, 0, 0), new(2, 0, 0), new(2, 2, 0), new(0, 2, 0)];
    private static readonly (int A, int B, int C)[] s_triangles = [(0, 1, 4), (1, 2, 4), (2, 3, 4), (3, 0, 4)];

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_vertex_beyond_the_surface_comes_back_to_the_middle_of_its_neighbours()
    {
        var patch = Many(new Vec3(1, 1, -5));

        var parted = PatchUntangle.Apply(s_rim, patch, Low(patch), Low, RunContext.Default);

        parted.Contacts.Should().Be(0);
        // The middle of the four rim vertices.
        parted.NewPoints[0].Should().Be(new Vec3(1, 1, 0));
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void What_cannot_be_parted_stays_as_it_was()
    {
        var patch = Many(new Vec3(1, 1, -5));
        List<int> Always(HolePatch p) => Low(patch);

        PatchUntangle.Apply(s_rim, patch, Low(patch), Always, RunContext.Default).Should().BeSameAs(patch);
        var flat = new HolePatch([0, 1, 2, 3], [], [(0, 1, 2), (0, 2, 3)], PatchShape.Flat, 1);
        PatchUntangle.Apply(s_rim, flat, [0], _ => [0], RunContext.Default).Should().BeSameAs(flat);
    }

    // The four triangles again and again, so that one contact is a small share of them.
    private static HolePatch Many(Vec3 middle) => new([0, 1, 2, 3], [middle], [.. Enumerable.Range(0, 100).SelectMany(_ => s_triangles)], PatchShape.ThinPlate, 1);

    private static List<int> Low(HolePatch patch) => patch.NewPoints[0].Z < -1 ? [0] : [];
}
