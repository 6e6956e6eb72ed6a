using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Surface;

namespace AnatomyPrep.Tests.Meshing.Surface;

public sealed class CellCasesTests
{
    [Fact]
    [Trait("Kind", "Property")]
    public void Triangles_of_a_cell_never_cross_wherever_their_vertices_lie()
    {
        for (var pattern = 1; pattern < 255; pattern++)
        {
            var random = new Random(pattern);
            for (var trial = 0; trial < 60; trial++)
            {
                var mesh = Cell(pattern, random, trial);
                for (var i = 0; i < mesh.TriangleCount; i++)
                    for (var j = i + 1; j < mesh.TriangleCount; j++)
                        ((int)TriangleTriangle.Classify(mesh, i, j)).Should().BeLessThan((int)Contact.Crossing, "of pattern {0}", pattern);
            }
        }
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Every_loop_has_two_triangles_fewer_than_edges_and_uses_each_edge()
    {
        for (var pattern = 0; pattern < 256; pattern++)
        {
            var (loops, _) = CellCases.Loops(pattern);
            ((int)CellCases.TriangleCounts[pattern]).Should().Be(loops.Sum(l => l.Count - 2)).And.BeLessThanOrEqualTo(CellCases.MaxTriangles);
            CellCases.Triangles(pattern).ToArray().Select(e => (int)e).Distinct().Should().BeEquivalentTo(loops.SelectMany(l => l));
        }
    }

    // Vertices anywhere on their edges; every third cell has them close to the corners, where slivers arise.
    private static Mesh Cell(int pattern, Random random, int trial)
    {
        var builder = new MeshBuilder(Vec3.Zero);
        foreach (var (from, to) in CellCases.Edges)
        {
            var t = trial % 3 == 0 ? (random.Next(2) == 0 ? 0.01 : 0.99) : random.NextDouble();
            builder.AddVertex(Vec3.Lerp(Corner(from), Corner(to), Math.Clamp(t, 0.002, 0.998)));
        }

        var edges = CellCases.Triangles(pattern);
        for (var i = 0; i < edges.Length; i += 3)
            builder.AddTriangle(edges[i], edges[i + 1], edges[i + 2]);
        return builder.Build();
    }

    private static Vec3 Corner(int c) => new(c & 1, (c >> 1) & 1, c >> 2);
}
