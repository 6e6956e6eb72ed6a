using System.Formats.Tar;
using System.IO.Compression;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Cloud;
using AnatomyPrep.Meshing.Formats;
using AnatomyPrep.Meshing.Repair;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Tests.Meshing.Shape;
using AnatomyPrep.Tests.Meshing.Verify;
using Xunit.Abstractions;

namespace AnatomyPrep.Tests.Meshing.Cloud;

/// <summary>Point clouds made by others, from outliers to surface.</summary>
public class CloudScanTests(ITestOutputHelper output)
{
    private static readonly RunContext s_run = RunContext.Default;

    // The holes cut into the head before it was scanned lie at the ears and under the brow (PROVENANCE.md); the back was never seen.
    private static readonly (string Name, Vec3 AtMm, double LeastMm)[] s_holes =
    [
        ("left ear", new(86, -3, 6), 18), ("right ear", new(-88, 12, 2), 18), ("brow", new(72, -15, -18), 15), ("back of the head", new(-2, 46, 23), 150),
    ];

    [Theory]
    [Trait("Kind", "Slow")]
    [Trait("Needs", "Shared")]
    [InlineData(true)]
    [InlineData(false)]
    public void A_head_scan_becomes_a_measured_surface_with_its_holes(bool withNormals)
    {
        var cloud = PointCloudFile.Read(SharedData.File("data/meshes/head-points.ply"), new(), s_run).Cloud;
        var truth = MeshFile.Read(SharedData.File("data/meshes/head-truth.ply"), new(), s_run).Mesh;
        var clean = RemoveOutliers.Apply(cloud, new(), s_run).Cloud;

        var result = CloudSurface.Apply(withNormals ? clean : clean.WithoutNormals(), new(), s_run);

        var facts = MeshFacts.Measure(result.Mesh, s_run);
        (facts.NonManifoldEdges, facts.NonManifoldVertices, facts.InconsistentEdges, facts.SelfIntersections, facts.TouchingPairs, facts.DegenerateTriangles).Should().Be((0, 0, 0, 0, 0, 0));
        CgalMesh.Pairs(result.Mesh).Should().BeEmpty();
        CgalMesh.NonManifoldVertices(result.Mesh).Should().Be(0);
        facts.Components.Should().Be(1);

        // Asked for: 0.35 mm at 95 %. Derived for noise of 0.25 mm, 23 points at a time: 2 σ / √23 = 0.10; estimated normals tilt by 7 degrees where
        // they were exact, which moves the sphere by that over the centre's scatter of h/√(6·23): 0.03 mm more at 95 %. Curved places add the rest.
        var measured = SurfaceDistance.Compare(Only(result.Mesh, Origin.Measured), truth, new(), s_run).FirstToSecond;
        output.WriteLine($"measured: mean {measured.MeanMm:F3}, 95 % {measured.P95Mm:F3}, largest {measured.MaxMm:F2} mm; {facts.Triangles} triangles");
        measured.P95Mm.Should().BeLessThan(0.2);
        measured.MaxMm.Should().BeLessThan(2);
        Math.Abs(measured.SignedMeanMm).Should().BeLessThan(0.02);

        // Right way out everywhere: the normals of the truth's nearest triangle agree.
        FacingAway(result.Mesh, truth).Should().BeLessThan(0.002);

        var loops = AnatomyPrep.Meshing.Repair.BoundaryLoops.Find(result.Mesh);
        foreach (var (name, at, least) in s_holes)
            loops.Should().Contain(l => l.DiameterMm > least && Vec3.Distance(l.CenterMm, at) < 25, name);

        // No hole where points lie: a gap that the closing left open, and its border one rim beyond the points, is wider than that.
        double closing = result.Effect.Measures!["closingMm"];
        loops.Where(l => l.DiameterMm < closing).Should().BeEmpty();
    }

    [Fact]
    [Trait("Kind", "Slow")]
    [Trait("Needs", "Shared")]
    public void Holes_of_the_head_scan_are_filled_and_judged_apart()
    {
        var cloud = PointCloudFile.Read(SharedData.File("data/meshes/head-points.ply"), new(), s_run).Cloud;
        var truth = MeshFile.Read(SharedData.File("data/meshes/head-truth.ply"), new(), s_run).Mesh;
        var surface = CloudSurface.Apply(RemoveOutliers.Apply(cloud, new(), s_run).Cloud, new(), s_run).Mesh;

        var filled = FillHoles.Apply(surface, new(), s_run);

        AnatomyPrep.Meshing.Repair.BoundaryLoops.Find(filled.Mesh).Should().ContainSingle().Which.IsOuterBorder.Should().BeTrue();
        filled.Mesh.Triangles[..surface.Triangles.Length].SequenceEqual(surface.Triangles).Should().BeTrue();
        var all = SurfaceDistance.Compare(Only(filled.Mesh, Origin.Filled), truth, new(), s_run).FirstToSecond;
        output.WriteLine($"all but the outer border: 95 % within {all.P95Mm:F2} mm, largest {all.MaxMm:F2} mm");
        // Behind the left ear, seen from no side, a fill is a guess; all the same the goal holds for all holes together.
        all.P95Mm.Should().BeLessThan(2.5);
        SelfIntersections.Find(filled.Mesh, s_run).Crossing.Should().Be(0);
        var within = 0;
        var loops = AnatomyPrep.Meshing.Repair.BoundaryLoops.Find(surface).Where(l => !l.IsOuterBorder).ToArray();
        foreach (var loop in loops)
        {
            var one = FillHoles.Apply(surface, new(LoopIds: [loop.Id]), s_run).Mesh;
            var patch = new Mesh(one.OriginMm, one.PositionArray, one.TriangleArray[surface.Triangles.Length..]);
            if (patch.TriangleCount == 0)
                continue;
            var off = SurfaceDistance.Compare(patch, truth, new(Samples: 4000), s_run).FirstToSecond;
            within += off.P95Mm <= 2.5 ? 1 : 0;
            output.WriteLine($"hole of {loop.DiameterMm:F1} mm at {loop.CenterMm.X:F0} {loop.CenterMm.Y:F0} {loop.CenterMm.Z:F0}: 95 % within {off.P95Mm:F2} mm");
        }

        within.Should().BeGreaterThanOrEqualTo(loops.Length - 1);
    }

    /// <summary>A million points strewn over the closed head by area, noise 0.25 mm: more than any scan brings.</summary>
    [Fact]
    [Trait("Kind", "Slow")]
    [Trait("Needs", "Shared")]
    public void A_million_points_of_a_whole_head_become_one_surface()
    {
        const int count = 1_000_000;
        var truth = MeshFile.Read(SharedData.File("data/meshes/head-truth.ply"), new(), s_run).Mesh;
        var cloud = Strewn(truth, count, 0.25);

        var result = CloudSurface.Apply(cloud, new(), s_run);

        var facts = MeshFacts.Measure(result.Mesh, s_run);
        (facts.NonManifoldEdges, facts.NonManifoldVertices, facts.SelfIntersections, facts.InwardShells).Should().Be((0, 0, 0, 0));
        var off = SurfaceDistance.Compare(result.Mesh, truth, new(), s_run);
        output.WriteLine($"{facts.Triangles} triangles, {facts.Components} pieces, {facts.BoundaryLoops} holes; 95 % within {off.P95Mm:F3}, largest {off.MaxMm:F2} mm");
        off.P95Mm.Should().BeLessThan(0.2);
        facts.BoundaryLoops.Should().BeLessThan(5);
        MeshMeasures.SignedVolumeMm3(result.Mesh).Should().BeApproximately(MeshMeasures.SignedVolumeMm3(truth), 0.001 * MeshMeasures.SignedVolumeMm3(truth));
    }

    /// <summary>The kitten has one handle, its tail (genus 1); both are in units of about their own height.</summary>
    [Theory]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    [InlineData("kitten.xyz", 1)]
    [InlineData("oni.ply", null)]
    public void General_clouds_of_a_few_thousand_points_keep_their_topology(string file, int? genus)
    {
        var cloud = PointCloudFile.Read(SharedData.File("data/meshes/" + file), new(), s_run).Cloud.Scaled(100);

        var result = CloudSurface.Apply(cloud, new(), s_run);

        MeshAssert.IsManifold(result.Mesh);
        SelfIntersections.Find(result.Mesh, s_run).Pairs.Should().BeEmpty();
        var facts = MeshFacts.Measure(result.Mesh, s_run);
        facts.Components.Should().Be(1);
        facts.Genus.Should().Be(genus);
        output.WriteLine($"{file}: {facts.Triangles} triangles, {facts.BoundaryLoops} holes, points 95 % within {result.Effect.Measures!["pointDistanceP95Mm"]:F2} of 100");
        // The mask is open at its neck.
        facts.BoundaryLoops.Should().Be(genus is null ? 1 : 0);
        // Edges as sharp as a spacing are rounded by about so much.
        result.Effect.Measures["pointDistanceP95Mm"].Should().BeLessThan(result.Effect.Measures["spacingMm"]);
    }

    /// <summary>
    /// Every cloud of Debian's libcgal-demo that has points in a format read here: buildings, radar, terrain, two-dimensional patterns, a handful of points, broken
    /// normals. A manifold without crossings, or a reason.
    /// </summary>
    [Fact]
    [Trait("Kind", "Slow")]
    [Trait("Needs", "Shared")]
    public void No_cloud_of_a_general_library_makes_anything_but_a_manifold_or_a_reason()
    {
        using var folder = new TestFolder();
        using (var packed = new GZipStream(File.OpenRead("/usr/share/doc/libcgal-dev/data.tar.gz"), CompressionMode.Decompress))
            TarFile.ExtractToDirectory(packed, folder.Path, overwriteFiles: true);
        var surfaces = 0;
        foreach (var file in Directory.GetFiles(folder["data/points_3"]).Order(StringComparer.Ordinal))
        {
            try
            {
                var cloud = PointCloudFile.Read(file, new(), s_run).Cloud;
                cloud = cloud.Scaled((float)(200 / cloud.BoundsMm().Diagonal));
                foreach (var points in (PointCloud[])[RemoveOutliers.Apply(cloud, new(), s_run).Cloud, cloud.WithoutNormals()])
                {
                    var mesh = CloudSurface.Apply(points, new(), s_run).Mesh;
                    var facts = MeshFacts.Measure(mesh, s_run);
                    output.WriteLine($"{Path.GetFileName(file)}: {points.Count} points, {facts.Triangles} triangles, {facts.Components} pieces, {facts.BoundaryLoops} holes, solid {facts.Solid}");
                    (facts.NonManifoldEdges, facts.NonManifoldVertices, facts.InconsistentEdges, facts.SelfIntersections).Should().Be((0, 0, 0, 0), file);
                    surfaces++;
                }
            }
            catch (Exception e) when (e is BadInputException or CheckFailedException or PlanException)
            {
                output.WriteLine($"{Path.GetFileName(file)}: {e.Message}");
            }
        }

        surfaces.Should().BeGreaterThan(25);
    }

    private static Mesh Only(Mesh mesh, Origin origin)
    {
        var triangles = Enumerable.Range(0, mesh.TriangleCount).Where(t => mesh.Origins[t] == origin).SelectMany(t => mesh.Triangles.Slice(3 * t, 3).ToArray());
        return new(mesh.OriginMm, mesh.PositionArray, [.. triangles]);
    }

    // Share of triangles whose normal is turned against the nearest triangle of the truth.
    private static double FacingAway(Mesh mesh, Mesh truth)
    {
        var tree = AnatomyPrep.Meshing.Spatial.TriangleTree.Build(truth, s_run);
        var some = Enumerable.Range(0, mesh.TriangleCount).Where(t => t % 10 == 0).ToArray();
        var nearest = tree.Nearest([.. some.Select(t => (mesh.Vertex(mesh.Triangle(t).A) + mesh.Vertex(mesh.Triangle(t).B) + mesh.Vertex(mesh.Triangle(t).C)) / 3)], s_run);
        return some.Where((t, i) => Vec3.Dot(Normal(mesh, t), Normal(truth, nearest[i].Triangle)) < 0).Count() / (double)some.Length;
    }

    private static Vec3 Normal(Mesh mesh, int t)
    {
        var (a, b, c) = mesh.Triangle(t);
        return Vec3.Cross(mesh.Vertex(b) - mesh.Vertex(a), mesh.Vertex(c) - mesh.Vertex(a));
    }

    private static PointCloud Strewn(Mesh mesh, int count, double noiseMm)
    {
        var random = new Random(1);
        var upTo = new double[mesh.TriangleCount];
        var area = 0.0;
        for (var t = 0; t < upTo.Length; t++)
            upTo[t] = area += MeshMeasures.TriangleAreaMm2(mesh, t);
        float[] positions = new float[3 * count], normals = new float[3 * count];
        for (var i = 0; i < count; i++)
        {
            var at = Array.BinarySearch(upTo, random.NextDouble() * area);
            var t = Math.Min(at < 0 ? ~at : at, upTo.Length - 1);
            var (a, b, c) = mesh.Triangle(t);
            double u = random.NextDouble(), v = random.NextDouble();
            if (u + v > 1)
                (u, v) = (1 - u, 1 - v);
            var n = Normal(mesh, t).Normalized();
            var p = mesh.Local(a) + ((mesh.Local(b) - mesh.Local(a)) * u) + ((mesh.Local(c) - mesh.Local(a)) * v) + (n * (noiseMm * TestClouds.Normal(random)));
            (positions[3 * i], positions[(3 * i) + 1], positions[(3 * i) + 2]) = ((float)p.X, (float)p.Y, (float)p.Z);
            (normals[3 * i], normals[(3 * i) + 1], normals[(3 * i) + 2]) = ((float)n.X, (float)n.Y, (float)n.Z);
        }

        return new(mesh.OriginMm, positions, normals);
    }
}
