using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Shape;

/// <summary>Random input for shape tests, and bounds that several of them share.</summary>
internal static class ShapeGen
{
    internal static readonly Gen<Vec3> Direction =
        Gen.Select(Gen.Double[-1, 1], Gen.Double[-1, 1], Gen.Double[-1, 1], (x, y, z) => new Vec3(x, y, z)).Where(v => v.Length > 0.1);

    /// <summary>Anywhere a patient's coordinates may lie.</summary>
    internal static readonly Gen<Vec3> PointMm =
        Gen.Select(Gen.Double[-500, 500], Gen.Double[-500, 500], Gen.Double[-1500, 1500], (x, y, z) => new Vec3(x, y, z));

    /// <summary>Unit in the last place, as float32, of the vertex farthest from the mesh's origin.</summary>
    internal static double UnitInLastPlace(Mesh mesh)
    {
        double farthest = 0;
        for (var v = 0; v < mesh.VertexCount; v++)
            farthest = Math.Max(farthest, mesh.Local(v).Length);
        return MathF.BitIncrement((float)farthest) - (float)farthest;
    }

    internal static double FarthestMm(Mesh a, Mesh b)
    {
        double farthest = 0;
        for (var v = 0; v < a.VertexCount; v++)
            farthest = Math.Max(farthest, Vec3.Distance(a.Vertex(v), b.Vertex(v)));
        return farthest;
    }

    /// <summary>The same bytes on 1, 2, 3 and 16 threads.</summary>
    internal static void SameOnAnyThreads(Func<RunContext, ShapeResult> step)
    {
        var one = step(new(threads: 1));
        foreach (var threads in (int[])[2, 3, 16])
        {
            var other = step(new(threads: threads));
            MeshAssert.SameBits(one.Mesh, other.Mesh).Should().BeTrue("{0} threads give the bytes of one", threads);
            (other.Effect with { Measures = null }).Should().Be(one.Effect with { Measures = null });
            if (one.Effect.Measures is { } measures)
                other.Effect.Measures.Should().Equal(measures);
        }
    }
}
