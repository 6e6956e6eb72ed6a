using System.Globalization;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Formats;
using AnatomyPrep.Meshing.Prepare;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Tests.Meshing.Shape;
using AnatomyPrep.Tests.Outside;

namespace AnatomyPrep.Tests.Meshing.Prepare;

/// <summary>On a skull of the shared folder (100,002 triangles, unit not stated), scaled to 200 mm.</summary>
[Trait("Needs", "Shared")]
public sealed class SkullPrintTests
{
    private static readonly RunContext s_run = RunContext.Default;

    [Fact]
    [Trait("Kind", "Slow")]
    public void The_chosen_orientation_needs_at_least_30_percent_less_than_the_median_of_500_random_ones()
    {
        var skull = Skull();
        var chosen = OrientModel.Search(skull, new(Profiles.LeastSupport), s_run).Chosen;
        var random = new Random(20261126);
        var volumes = new double[500];
        for (var i = 0; i < volumes.Length; i++)
        {
            // Uniform on the sphere: z and the angle around it (Archimedes).
            var (z, angle) = ((2 * random.NextDouble()) - 1, 2 * Math.PI * random.NextDouble());
            var across = Math.Sqrt(1 - (z * z));
            volumes[i] = SupportNeed.Measure(skull, new(across * Math.Cos(angle), across * Math.Sin(angle), z), 45, 1, s_run).Lies.SupportMm3;
        }

        Array.Sort(volumes);
        var own = SupportNeed.Measure(skull, chosen.Up, 45, 1, s_run).Lies.SupportMm3;
        own.Should().BeLessThan(0.7 * volumes[250]);
        own.Should().BeLessThan(volumes[5], "among the best hundredth");
    }

    [Fact]
    [Trait("Kind", "Slow")]
    public void Overhang_and_thickness_agree_with_VTK()
    {
        // VTK 9.1: normals and areas by vtkPolyDataNormals and vtkMeshQuality, rays by vtkOBBTree, on the same STL.
        var skull = Skull();
        using var folder = new TestFolder();
        var stl = folder["skull.stl"];
        StlFormat.Write(skull.Rebased(Vec3.Zero), stl, "test", s_run);
        var map = ThicknessMap.Measure(skull, TriangleTree.Build(skull, s_run), ThicknessSide.Wall, 1000, s_run);
        var normals = AngleNormals.Of(skull, s_run);
        var rays = Enumerable.Range(0, 300).Select(i => i * (skull.VertexCount / 300)).Where(v => float.IsFinite(map.RayMm[v])).ToArray();
        var list = folder["rays.txt"];
        File.WriteAllLines(list, rays.Select(v =>
        {
            var (p, n) = (skull.Vertex(v), normals[v].Normalized());
            return string.Create(CultureInfo.InvariantCulture, $"{p.X:R} {p.Y:R} {p.Z:R} {-n.X:R} {-n.Y:R} {-n.Z:R}");
        }));
        var answer = PythonRun.Of(
            """
            import sys, math, numpy as np, vtk
            from vtk.util.numpy_support import vtk_to_numpy
            r = vtk.vtkSTLReader(); r.SetFileName(sys.argv[1]); r.Update(); d = r.GetOutput()
            p = vtk_to_numpy(d.GetPoints().GetData()).astype(float)
            t = vtk_to_numpy(d.GetPolys().GetData()).reshape(-1, 4)[:, 1:]
            n = np.cross(p[t[:, 1]] - p[t[:, 0]], p[t[:, 2]] - p[t[:, 0]])
            a = np.linalg.norm(n, axis=1)
            low = p[:, 2].min()
            raised = p[t, 2].max(axis=1) - low > 0.02
            for limit in (45 - 0.03, 45, 45 + 0.03):
                over = (n[:, 2] < -math.cos(math.radians(limit)) * a) & raised
                print(repr(float((a[over] / 2).sum())))
            tree = vtk.vtkOBBTree(); tree.SetDataSet(d); tree.BuildLocator()
            for line in open(sys.argv[2]):
                v = np.array([float(x) for x in line.split()])
                o, u = v[:3], v[3:]
                hits = vtk.vtkPoints()
                tree.IntersectWithLine(o + u * 1e-3, o + u * 1000, hits, None)
                d2 = sorted(np.linalg.norm(np.array(hits.GetPoint(i)) - o) for i in range(hits.GetNumberOfPoints()))
                print(repr(float(d2[0])) if d2 else 'nan')
            """,
            stl,
            list);
        var numbers = answer.Split('\n', StringSplitOptions.RemoveEmptyEntries).Select(l => double.Parse(l, CultureInfo.InvariantCulture)).ToArray();
        // Ours takes the limit with a tolerance of 0.02°, and float32 corners turn a normal by less than 0.01°: it lies between VTK's areas
        // for limits 0.03° to either side.
        var contact = SupportNeed.Measure(skull, new(0, 0, 1), 45, 1, s_run).Lies.ContactMm2;
        contact.Should().BeInRange(numbers[0], numbers[2]);
        var agree = rays.Where((v, i) => Math.Abs(numbers[i + 3] - map.RayMm[v]) < 1e-3 + (1e-4 * map.RayMm[v])).Count();
        // Rays that graze an edge may find one or the other of two surfaces.
        agree.Should().BeGreaterThan(rays.Length * 97 / 100);
    }

    private static Mesh Skull()
    {
        var raw = Solids.Read(SharedData.File("data/meshes/skull.obj"));
        return Solids.Moved(raw, (_, p) => p * (200 / raw.BoundsMm().Size.Z));
    }
}
