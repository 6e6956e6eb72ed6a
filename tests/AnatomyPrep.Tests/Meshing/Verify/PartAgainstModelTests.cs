using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Tests.Meshing.Verify;

public sealed class PartAgainstModelTests
{
    private static readonly RunContext s_run = new();

    private static readonly Affine3 s_motion = Affine3.Translate(new Vec3(70, -30, 12)).After(Affine3.Rotate(new Vec3(1, 2, -0.5), 1.9));

    /// <summary>A corner of three arms swollen by 0.2 mm on every face: every point of its surface lies 0.2 mm outside, but at edges and corners, which lie 0.2·√2 and 0.2·√3 off.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void A_part_that_is_swollen_evenly_deviates_by_that()
    {
        var found = PartAgainstModel.Measure(Corner(0.2).Moved(s_motion), Corner(0), s_run);
        found.P50Mm.Should().BeApproximately(0.2, 0.02);
        found.WithinP95Mm.Should().BeInRange(0.19, 0.2 * Math.Sqrt(3) + 0.02);
        found.SignedMeanMm.Should().BeApproximately(0.2, 0.03);
        found.CoveredShare.Should().BeGreaterThan(0.99);
        found.Registration.IsMirrored.Should().BeFalse();
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void One_percent_of_scale_stays_in_the_deviation()
    {
        var found = PartAgainstModel.Measure(Corner(0).Moved(s_motion.After(Affine3.Scale(1.01))), Corner(0), s_run);
        found.Registration.ScanScale.Should().BeApproximately(1.01, 0.0005);
        found.Registration.AfterScaleRmsMm.Should().BeLessThan(0.02);
        // The far faces of 80 mm are 0.8 mm too far from the near ones: at least 0.3 mm somewhere, however it is laid.
        found.MaxMm.Should().BeGreaterThan(0.3);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Half_a_scan_covers_half_of_the_model()
    {
        var whole = Corner(0);
        var triangles = new List<int>();
        for (var t = 0; t < whole.TriangleCount; t++)
        {
            var (a, b, c) = whole.Triangle(t);
            if (whole.Vertex(a).Z + whole.Vertex(b).Z + whole.Vertex(c).Z > 60)
                triangles.AddRange([a, b, c]);
        }

        var part = new Mesh(whole.OriginMm, whole.PositionArray, [.. triangles]);
        var area = MeshMeasures.AreaMm2(part, s_run) / MeshMeasures.AreaMm2(whole, s_run);
        var found = PartAgainstModel.Measure(part, whole, s_run);
        found.MaxMm.Should().BeLessThan(0.01);
        // Model within 3 mm of the scan counts as seen: a rim of about 300 mm around.
        found.CoveredShare.Should().BeInRange(area - 0.01, area + (3 * 300 / MeshMeasures.AreaMm2(whole, s_run)));
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Another_part_is_not_explained_by_any_scale()
    {
        var found = PartAgainstModel.Measure(TestMeshes.Icosphere(4, 35), Corner(0), s_run);
        found.Registration.AfterScaleRmsMm.Should().BeGreaterThan(1);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_scan_without_area_is_refused() =>
        FluentActions.Invoking(() => PartAgainstModel.Measure(Mesh.Empty, Corner(0), s_run)).Should().Throw<BadInputException>();

    /// <summary>
    /// Three arms of 80, 50 and 60 mm from one corner, 25 mm thick, which no rotation and no mirror maps onto itself: the boundary of the filled
    /// cells of a grid of about 5 mm, faces moved outward.
    /// </summary>
    internal static Mesh Corner(double outward)
    {
        double[] Lines(double end) =>
            [.. Enumerable.Range(0, 6).Select(i => -outward + (i * (25 + (2 * outward)) / 5)), .. Enumerable.Range(1, 6).Select(i => 25 + outward + (i * (end - 25) / 6))];
        double[][] lines = [Lines(80), Lines(50), Lines(60)];
        bool Filled(int x, int y, int z) => Math.Min(x, Math.Min(y, z)) >= 0 && Math.Max(x, Math.Max(y, z)) < 11 && (x < 5 ? 1 : 0) + (y < 5 ? 1 : 0) + (z < 5 ? 1 : 0) >= 2;
        var points = new List<Vec3>();
        var triangles = new List<int>();
        for (var cell = 0; cell < 11 * 11 * 11; cell++)
        {
            int[] at = [cell % 11, cell / 11 % 11, cell / 121];
            for (var face = 0; face < 6 && Filled(at[0], at[1], at[2]); face++)
            {
                int axis = face / 2, side = face % 2, u = (axis + 1) % 3, v = (axis + 2) % 3;
                int[] beyond = [.. at];
                beyond[axis] += (2 * side) - 1;
                if (Filled(beyond[0], beyond[1], beyond[2]))
                    continue;
                var first = points.Count;
                foreach (var (i, j) in ((int, int)[])[(0, 0), (1, 0), (1, 1), (0, 1)])
                {
                    var p = new double[3];
                    (p[axis], p[u], p[v]) = (lines[axis][at[axis] + side], lines[u][at[u] + i], lines[v][at[v] + j]);
                    points.Add(new(p[0], p[1], p[2]));
                }

                triangles.AddRange(side == 1 ? [first, first + 1, first + 2, first, first + 2, first + 3] : [first, first + 2, first + 1, first, first + 3, first + 2]);
            }
        }

        return TestMeshes.Of([.. points], [.. triangles]).Welded();
    }
}
