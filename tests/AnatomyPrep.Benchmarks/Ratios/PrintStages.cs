using System.Diagnostics;
using System.Globalization;
using System.Text.Json;
using AnatomyPrep.App.Pipeline;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Formats;
using AnatomyPrep.Meshing.Prepare;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Benchmarks.Ratios;

/// <summary>What making ready for the printer costs on a mesh from a file; one JSON line a stage. The reference libraries have none of these operations.</summary>
internal static class PrintStages
{
    private const double WallReachMm = 8;

    public static int Run(string meshPath, string repeats)
    {
        var run = RunContext.Default;
        var mesh = MeshFile.Read(meshPath, new MeshReadOptions(LengthUnit.Millimetre), run).Mesh;
        var tree = TriangleTree.Build(mesh, run);
        Vec3 up = new(0, 0, 1);
        var extrusion = ProfileLibrary.Load("extrusion").Profile;
        var vat = ProfileLibrary.Load("vat").Profile;
        (string Name, Action Work)[] stages =
        [
            ("tree", () => TriangleTree.Build(mesh, run)),
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
