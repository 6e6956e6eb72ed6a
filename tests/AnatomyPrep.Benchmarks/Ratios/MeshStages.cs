using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Segment;
using AnatomyPrep.Meshing.Combining;
using AnatomyPrep.Meshing.Formats;
using AnatomyPrep.Meshing.Repair;
using AnatomyPrep.Meshing.Shape;
using AnatomyPrep.Meshing.Surface;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Benchmarks.Ratios;

/// <summary>Meshes for the stages of repair and shape, the same as the reference programs work on.</summary>
internal static class MeshStages
{
    private const int Folds = 200;
    private const int Holes = 16;
    private const double HoleRadiusMm = 6;

    private static readonly HuWindow s_bone = new(300, short.MaxValue);

    /// <summary>The mesh that the reference simplified to 200,000 triangles and gives to its own mesh stages.</summary>
    public static Mesh TwoHundredThousand(PhantomVolume phantom, RunContext run) =>
        MeshFile.Read(phantom.ReferenceMeshPath, new MeshReadOptions(LengthUnit.Millimetre), run).Mesh;

    /// <summary>Surface of the largest piece of the phantom.</summary>
    public static Mesh Skull(PhantomVolume phantom, RunContext run)
    {
        using var bone = Threshold.Apply(phantom.Volume, s_bone, run);
        using var pieces = Components.Find(bone, phantom.Volume.Map, run);
        using var largest = pieces.Keep(1, run);
        return FlyingEdges.Extract(phantom.Volume, largest, run).Mesh;
    }

    /// <summary>The same mesh with 200 pairs of vertices, across an edge from each other, in each other's place.</summary>
    public static Mesh Folded(Mesh mesh)
    {
        var edges = EdgeTable.Build(mesh);
        var positions = mesh.Positions.ToArray();
        for (var i = 0; i < Folds; i++)
        {
            // A half-edge of every 200th part of the mesh; the corner before it and the one across it change places.
            var h = 3 * (int)((long)i * mesh.TriangleCount / Folds);
            var across = edges.Opposite[h];
            if (across < 0)
                continue;
            var (a, b) = (mesh.Triangles[EdgeTable.Next(EdgeTable.Next(h))], mesh.Triangles[EdgeTable.Next(EdgeTable.Next(across))]);
            for (var axis = 0; axis < 3; axis++)
                (positions[(3 * a) + axis], positions[(3 * b) + axis]) = (positions[(3 * b) + axis], positions[(3 * a) + axis]);
        }

        return new(mesh.OriginMm, positions, mesh.Triangles.ToArray());
    }

    /// <summary>16 round holes of 6 mm radius, directions on a spiral.</summary>
    public static Mesh Holed(Mesh mesh)
    {
        var hits = Enumerable.Range(0, Holes).Select(i =>
        {
            var z = 1 - (((2 * i) + 1) / (double)Holes);
            var angle = i * Math.PI * (3 - Math.Sqrt(5));
            var r = Math.Sqrt(1 - (z * z));
            var direction = new Vec3(r * Math.Cos(angle), r * Math.Sin(angle), z);
            return Enumerable.Range(0, mesh.VertexCount).Select(mesh.Vertex).MaxBy(p => Vec3.Dot(p, direction) / p.Length);
        }).ToArray();
        var kept = new List<int>();
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            var center = (mesh.Vertex(a) + mesh.Vertex(b) + mesh.Vertex(c)) / 3;
            if (hits.All(h => (h - center).Length >= HoleRadiusMm))
                kept.AddRange([a, b, c]);
        }

        return RemoveIsolatedVertices.Apply(new(mesh.OriginMm, mesh.Positions.ToArray(), [.. kept]), new(), RunContext.Default).Mesh;
    }

    public static Stage Create(string name, PhantomVolume phantom, RunContext run)
    {
        switch (name)
        {
            case "crossings":
                var clean = TwoHundredThousand(phantom, run);
                return new(() => SelfIntersections.Find(clean, run));
            case "crossings-folded":
                var folded = Folded(TwoHundredThousand(phantom, run));
                return new(() => SelfIntersections.Find(folded, run));
            case "crossings-removal":
                var toUnfold = Folded(TwoHundredThousand(phantom, run));
                return new(() => RemoveSelfIntersections.Apply(toUnfold, new(), run));
            case "fill-holes":
                var open = Holed(TwoHundredThousand(phantom, run));
                return new(() => FillHoles.Apply(open, new(Method: FillMethod.Smooth), run));
            case "fill-holes-flat":
                var holed = Holed(TwoHundredThousand(phantom, run));
                return new(() => FillHoles.Apply(holed, new(Method: FillMethod.Flat), run));
            case "union":
                var first = TwoHundredThousand(phantom, run);
                var second = Move.Apply(first, new(new Vec3(11.3, 7.7, 5.1)), run).Mesh;
                return new(() => Combine.Union(first, second, run));
            case "smooth":
                var rough = Skull(phantom, run);
                return new(() => Smooth.Apply(rough, new(Iterations: 10), run));
            case "simplify":
                var fine = Smooth.Apply(Skull(phantom, run), new(Iterations: 10), run).Mesh;
                return new(() => Simplify.Apply(fine, new(KeepRatio: 0.1), run));
            case "simplify-200k":
                var medium = TwoHundredThousand(phantom, run);
                return new(() => Simplify.Apply(medium, new(KeepRatio: 0.1), run));
            default:
                throw new ArgumentException($"No stage is called {name}.", nameof(name));
        }
    }
}
