using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;
using AnatomyPrep.Tests.Outside;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Shape;

public sealed class AlignLandmarksTests
{
    private static readonly RunContext s_run = new();

    private static readonly Gen<Affine3> s_rigid = Gen.Select(
        ShapeGen.Direction, Gen.Double[-180, 180], ShapeGen.PointMm,
        (axis, angle, by) => Affine3.Translate(by).After(Affine3.Rotate(axis, angle * Math.PI / 180)));

    // Not on one line: the spread of three to eight points in a head-sized box.
    private static readonly Gen<Vec3[]> s_landmarks = Gen.Select(Gen.Double[-100, 100], Gen.Double[-100, 100], Gen.Double[-100, 100], (x, y, z) => new Vec3(x, y, z))
        .Array[3, 8].Where(p => p.Max(a => p.Max(b => Vec3.Cross(a - p[0], b - p[0]).Length)) > 500);

    [Fact]
    [Trait("Kind", "Property")]
    public void A_known_rigid_motion_is_found_again() =>
        Gen.Select(s_rigid, s_landmarks).Sample(
            (motion, landmarks) =>
            {
                var mesh = Solids.Icosphere(1, 60, new(10, 20, 30));
                var aligned = AlignLandmarks.Apply(mesh, new(landmarks, [.. landmarks.Select(motion.Map)]), s_run);
                for (var v = 0; v < mesh.VertexCount; v++)
                    Vec3.Distance(aligned.Mesh.Vertex(v), motion.Map(mesh.Vertex(v))).Should().BeLessThan(ShapeGen.UnitInLastPlace(mesh) + 1e-8);
                aligned.Effect.Measures!["rmsResidualMm"].Should().BeLessThan(1e-9);
                aligned.Findings.Should().BeEmpty();
                MeshAssert.MovedAsStated(mesh, aligned.Mesh, aligned.Effect);
            },
            iter: 200);

    /// <summary>Landmarks of the other side: the mesh is moved and turned, its volume stays positive, and a caution says why it does not fit.</summary>
    [Fact]
    [Trait("Kind", "Property")]
    public void Landmarks_of_the_other_side_never_mirror_and_raise_a_caution() =>
        Gen.Select(s_rigid, ShapeGen.Direction).Sample(
            (motion, normal) =>
            {
                Vec3[] landmarks = [new(0, 0, 0), new(80, 0, 0), new(0, 60, 0), new(0, 0, 40), new(20, 30, -10)];
                var flip = motion.After(Affine3.Mirror(Vec3.Zero, normal));
                var mesh = Solids.Icosphere(1, 60);
                var aligned = AlignLandmarks.Apply(mesh, new(landmarks, [.. landmarks.Select(flip.Map)]), s_run);
                aligned.Effect.VolumeAfterMm3.Should().BeApproximately(aligned.Effect.VolumeBeforeMm3!.Value, 1e-5 * aligned.Effect.VolumeBeforeMm3.Value);
                aligned.Mesh.Triangles.SequenceEqual(mesh.Triangles).Should().BeTrue();
                Vec3.Distance(aligned.Mesh.Vertex(0), aligned.Mesh.Vertex(7)).Should().BeApproximately(Vec3.Distance(mesh.Vertex(0), mesh.Vertex(7)), 1e-4);
                aligned.Findings.Should().ContainSingle(f => f.Code == FindingCodes.LandmarksMirrored && f.Severity == Severity.Caution);
            },
            iter: 100);

    /// <summary>Three points, and any number in one plane, are their own mirror image: nothing can be said about the side.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void Landmarks_in_one_plane_say_nothing_about_the_side()
    {
        Vec3[] flat = [new(0, 0, 0), new(80, 0, 0), new(0, 60, 0), new(70, 50, 0)];
        var flip = Affine3.Mirror(Vec3.Zero, new(0, 0, 1));
        AlignLandmarks.Apply(Solids.Icosphere(0, 1), new(flat, [.. flat.Select(flip.Map)]), s_run).Findings.Should().BeEmpty();
    }

    /// <summary>The least sum of squares over rotations, by the singular value decomposition of numpy (Kabsch 1976).</summary>
    [Fact]
    [Trait("Kind", "Outside")]
    public void Noisy_landmarks_fit_as_well_as_by_singular_values()
    {
        var random = new Random(7);
        Vec3 Noise(double mm) => new((random.NextDouble() - 0.5) * mm, (random.NextDouble() - 0.5) * mm, (random.NextDouble() - 0.5) * mm);
        var landmarks = Enumerable.Range(0, 6).Select(_ => Noise(200)).ToArray();
        var motion = Affine3.Translate(new(30, -40, 800)).After(Affine3.Rotate(new(1, 2, -1), 2.1));
        var targets = landmarks.Select(p => motion.Map(p) + Noise(8)).ToArray();
        var mesh = Solids.Icosphere(1, 60);
        var aligned = AlignLandmarks.Apply(mesh, new(landmarks, targets), s_run);

        static string List(IEnumerable<Vec3> points) =>
            "[" + string.Join(",", points.Select(p => FormattableString.Invariant($"[{p.X:R},{p.Y:R},{p.Z:R}]"))) + "]";
        var output = PythonRun.Of($"""
            import numpy as np
            a, b, q = np.array({List(landmarks)}), np.array({List(targets)}), np.array({List([mesh.Vertex(0), mesh.Vertex(1)])})
            u, s, vt = np.linalg.svd((a - a.mean(0)).T @ (b - b.mean(0)))
            d = np.diag([1, 1, np.sign(np.linalg.det(vt.T @ u.T))])
            r = vt.T @ d @ u.T
            fit = lambda p: (p - a.mean(0)) @ r.T + b.mean(0)
            print(np.sqrt(((fit(a) - b) ** 2).sum(1).mean()), *fit(q).ravel())
            """);
        var numbers = output.Split(' ', StringSplitOptions.RemoveEmptyEntries).Select(w => double.Parse(w, CultureInfo.InvariantCulture)).ToArray();
        aligned.Effect.Measures!["rmsResidualMm"].Should().BeApproximately(numbers[0], 1e-9);
        Vec3.Distance(aligned.Mesh.Vertex(0), new(numbers[1], numbers[2], numbers[3])).Should().BeLessThan(1e-5);
        Vec3.Distance(aligned.Mesh.Vertex(1), new(numbers[4], numbers[5], numbers[6])).Should().BeLessThan(1e-5);
        aligned.Effect.Measures["maxResidualMm"].Should().Be(Enumerable.Range(1, 6).Max(i => aligned.Effect.Measures[FormattableString.Invariant($"residualMm.{i}")]));
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Too_few_uneven_or_lined_up_landmarks_are_a_wrong_plan()
    {
        var ball = Solids.Icosphere(0, 1);
        Vec3[] line = [new(0, 0, 0), new(1, 1, 1), new(2, 2, 2), new(5, 5, 5)];
        Vec3[] good = [new(0, 0, 0), new(1, 0, 0), new(0, 1, 0), new(0, 0, 1)];
        foreach (var wrong in (AlignLandmarksParameters[])[
            new([], []), new(good[..2], good[..2]), new(good, good[..3]), new(line, good), new(good, line),
            new([good[0], good[0], good[0]], good[..3]), new([new(double.NaN, 0, 0), good[1], good[2]], good[..3])])
        {
            var align = () => AlignLandmarks.Apply(ball, wrong, s_run);
            align.Should().Throw<PlanException>("of {0} landmarks", wrong.LandmarksMm.Count);
        }
    }
}
