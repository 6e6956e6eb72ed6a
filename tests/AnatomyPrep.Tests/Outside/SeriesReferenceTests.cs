using System.Diagnostics;
using AnatomyPrep.App.Pipeline;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Acquire;
using AnatomyPrep.Imaging.Segment;
using AnatomyPrep.Meshing.Formats;
using AnatomyPrep.Meshing.Surface;

namespace AnatomyPrep.Tests.Outside;

/// <summary>Real series, held against surfaces of general-purpose libraries (pydicom and VTK; shared/reference/series_reference.py).</summary>
[Trait("Needs", "Shared")]
[Trait("Kind", "Outside")]
public sealed class SeriesReferenceTests
{
    // Triangles, area and bounds (LPS, mm) of the largest region: table in shared/data/PROVENANCE.md.
    public static TheoryData<string, short, int, double, double[]> Table => new()
    {
        { "head-phantom-1mm", 300, 1519774, 163274.97, [-72.906, 65.420, 10.768, 197.495, 694.210, 827.484] },
        { "head-phantom-1mm", -300, 1533714, 165248.67, [-73.463, 65.948, 10.140, 198.112, 694.210, 827.951] },
        { "head-phantom-tilt-minus", 300, 905818, 144853.05, [-73.081, 65.190, 14.373, 196.775, 696.979, 827.394] },
        { "head-human-tilt-uneven", 300, 905162, 207082.32, [-78.010, 77.003, -102.579, 84.791, -47.575, 116.935] },
        { "head-human-tilt-uneven", -300, 461852, 148023.89, [-100.677, 98.392, -106.214, 102.449, -64.805, 125.468] },
        { "chest-human-1mm-overlap", 300, 181648, 41524.10, [-115.572, 143.635, -164.554, -52.472, 2.5, 57.5] },
    };

    [Theory]
    [MemberData(nameof(Table))]
    public void Largest_region_has_the_published_triangles_area_and_bounds(string series, short isoHu, int triangles, double areaMm2, double[] boundsMm)
    {
        var mesh = LargestMeasured(series, isoHu);

        // Same rule for ambiguous faces, same ties: the very same triangles.
        mesh.TriangleCount.Should().Be(triangles);
        MeshMeasures.AreaMm2(mesh).Should().BeApproximately(areaMm2, 0.001 * areaMm2);
        var bounds = mesh.BoundsMm();
        double[] found = [bounds.Min.X, bounds.Max.X, bounds.Min.Y, bounds.Max.Y, bounds.Min.Z, bounds.Max.Z];
        // Printed to 0.001 mm; a vertex may have moved by the clearance.
        for (var i = 0; i < 6; i++)
            found[i].Should().BeApproximately(boundsMm[i], 0.0006 + FlyingEdges.ClearanceMm);
    }

    [Fact]
    public void Every_vertex_lies_where_the_reference_puts_it()
    {
        using var folder = new TestFolder();
        var reference = folder["reference.stl"];
        Python(SharedData.File("reference/series_reference.py"), SharedData.File("data/ct/head-human-tilt-uneven.zip"), "300", reference);
        var theirs = MeshFile.Read(reference, new MeshReadOptions(LengthUnit.Millimetre), RunContext.Default).Mesh;
        var ours = LargestMeasured("head-human-tilt-uneven", 300);

        FarthestFrom(ours, theirs).Should().BeLessThan(0.02);
        FarthestFrom(theirs, ours).Should().BeLessThan(0.02);
    }

    private static Mesh LargestMeasured(string series, short isoHu)
    {
        using var loaded = new DicomSource(TestProgram.Reader).Load(SharedData.Series(series), null, RunContext.Default);
        using var region = Threshold.Apply(loaded.Volume, new HuWindow(isoHu, short.MaxValue), RunContext.Default);
        return LargestPart(FlyingEdges.Extract(loaded.Volume, region, RunContext.Default).Mesh);
    }

    // The part with most triangles among those not made by closing the border, which the reference leaves open.
    private static Mesh LargestPart(Mesh mesh)
    {
        var parent = Enumerable.Range(0, mesh.VertexCount).ToArray();
        int Root(int v)
        {
            while (parent[v] != v)
                v = parent[v] = parent[parent[v]];
            return v;
        }

        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            if (mesh.Origins[t] != Origin.Measured)
                continue;
            var (a, b, c) = mesh.Triangle(t);
            parent[Root(b)] = Root(a);
            parent[Root(c)] = Root(a);
        }

        var counts = new int[mesh.VertexCount];
        for (var t = 0; t < mesh.TriangleCount; t++)
            if (mesh.Origins[t] == Origin.Measured)
                counts[Root(mesh.Triangles[3 * t])]++;
        var largest = Array.IndexOf(counts, counts.Max());
        var builder = new MeshBuilder(mesh.OriginMm);
        var index = new Dictionary<int, int>();
        int Add(int v)
        {
            if (!index.TryGetValue(v, out var at))
                index[v] = at = builder.AddVertex(mesh.Vertex(v));
            return at;
        }

        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            if (mesh.Origins[t] == Origin.Measured && Root(a) == largest)
                builder.AddTriangle(Add(a), Add(b), Add(c));
        }

        return builder.Build();
    }

    // Largest distance of a vertex of one mesh to the nearest vertex of the other, looked up in cells of 0.05 mm.
    private static double FarthestFrom(Mesh from, Mesh to)
    {
        const double cellMm = 0.05;
        static (int, int, int) Cell(Vec3 p) => ((int)Math.Floor(p.X / cellMm), (int)Math.Floor(p.Y / cellMm), (int)Math.Floor(p.Z / cellMm));
        var cells = new Dictionary<(int, int, int), List<Vec3>>();
        for (var v = 0; v < to.VertexCount; v++)
        {
            var key = Cell(to.Vertex(v));
            if (!cells.TryGetValue(key, out var list))
                cells[key] = list = [];
            list.Add(to.Vertex(v));
        }

        double farthest = 0;
        for (var v = 0; v < from.VertexCount; v++)
        {
            var p = from.Vertex(v);
            var (x, y, z) = Cell(p);
            var nearest = double.PositiveInfinity;
            for (var n = 0; n < 27; n++)
                if (cells.TryGetValue((x + (n % 3) - 1, y + (n / 3 % 3) - 1, z + (n / 9) - 1), out var list))
                    nearest = Math.Min(nearest, list.Min(q => Vec3.Distance(p, q)));
            farthest = Math.Max(farthest, nearest);
        }

        return farthest;
    }

    private static void Python(params string[] arguments)
    {
        using var process = Process.Start(new ProcessStartInfo("/usr/bin/python3", arguments) { RedirectStandardOutput = true, RedirectStandardError = true })!;
        var errors = process.StandardError.ReadToEndAsync();
        process.StandardOutput.ReadToEnd();
        process.WaitForExit();
        process.ExitCode.Should().Be(0, errors.Result);
    }
}
