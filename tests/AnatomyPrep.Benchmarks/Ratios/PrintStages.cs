using System.Diagnostics;
using System.Globalization;
using System.Text.Json;
using AnatomyPrep.App.Pipeline;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Formats;
using AnatomyPrep.Meshing.Prepare;
using AnatomyPrep.Meshing.Shape;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Benchmarks.Ratios;

/// <summary>What making ready for the printer costs on a mesh from a file; one JSON line a stage. The reference libraries have none of these operations.</summary>
internal static class PrintStages
{
    private const double WallReachMm = 8;

    /// <summary>Room of the support as chosen, and in uniformly random orientations from a fixed seed; one JSON line.</summary>
    public static int Support(string meshPath, double heightMm)
    {
        const int Random = 500;
        const double PixelMm = 1;
        var run = RunContext.Default;
        var raw = MeshFile.Read(meshPath, new MeshReadOptions(LengthUnit.Millimetre), run).Mesh;
        var mesh = Scale.Apply(raw, new(TargetHeightMm: heightMm), run).Mesh;
        var extrusion = ProfileLibrary.Load("extrusion").Profile;
        var chosen = OrientModel.Search(mesh, new(extrusion), run).Chosen;
        double Of(Vec3 up) => SupportNeed.Measure(mesh, up, extrusion.OverhangLimitDeg, PixelMm, run).Lies.SupportMm3 / 1000;
        var random = new Random(20261126);
        var volumes = new double[Random];
        for (var i = 0; i < volumes.Length; i++)
        {
            // Uniform on the sphere: height and the angle around it (Archimedes).
            var (z, angle) = ((2 * random.NextDouble()) - 1, 2 * Math.PI * random.NextDouble());
            var across = Math.Sqrt(1 - (z * z));
            volumes[i] = Of(new(across * Math.Cos(angle), across * Math.Sin(angle), z));
        }

        Array.Sort(volumes);
        var (own, median) = (Of(chosen.Up), volumes[Random / 2]);
        Console.WriteLine(JsonSerializer.Serialize(new { triangles = mesh.TriangleCount, chosenCm3 = own, medianCm3 = median, below = 1 - (own / median), better = volumes.Count(v => v < own), worstCm3 = volumes[^1] }));
        return 0;
    }

    public static int Run(string meshPath, string repeats)
    {
        var run = RunContext.Default;
        var mesh = MeshFile.Read(meshPath, new MeshReadOptions(LengthUnit.Millimetre), run).Mesh;
        var tree = TriangleTree.Build(mesh, run);
        // As far off as a model may lie from its source.
        var points = Array.ConvertAll(SurfaceSamples.Spread(mesh, 1_000_000, run), p => p + new Vec3(0.3, 0.4, 0));
        Vec3 up = new(0, 0, 1);
        var extrusion = ProfileLibrary.Load("extrusion").Profile;
        var vat = ProfileLibrary.Load("vat").Profile;
        (string Name, Action Work)[] stages =
        [
            ("tree", () => TriangleTree.Build(mesh, run)),
            ("distance of 1,000,000 points, tree and normals included", () => SignedDistance.To(mesh, run).Of(points, run)),
            ("walls", () => ThicknessMap.Measure(mesh, tree, ThicknessSide.Wall, WallReachMm, run)),
            ("gaps", () => ThicknessMap.Measure(mesh, tree, ThicknessSide.Gap, WallReachMm / 2, run)),
            ("orientation", () => OrientModel.Search(mesh, new(extrusion), run)),
            ("islands", () => Islands.Find(mesh, up, 0.2, run)),
            ("trapped", () => TrappedPlaces.Find(mesh, tree, vat, up, false, run)),
        ];
        foreach (var (name, work) in stages)
        {
            work();
            var seconds = new double[int.Parse(repeats, CultureInfo.InvariantCulture)];
            var processor = new double[seconds.Length];
            for (var i = 0; i < seconds.Length; i++)
            {
                var (watch, before) = (Stopwatch.StartNew(), Environment.CpuUsage.TotalTime);
                work();
                seconds[i] = watch.Elapsed.TotalSeconds;
                processor[i] = (Environment.CpuUsage.TotalTime - before).TotalSeconds;
            }

            Array.Sort(seconds);
            Array.Sort(processor);
            Console.WriteLine(JsonSerializer.Serialize(new { stage = name, triangles = mesh.TriangleCount, seconds = seconds[seconds.Length / 2], processor = processor[processor.Length / 2] }));
        }

        return 0;
    }
}
