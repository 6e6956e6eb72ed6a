using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Tests.Meshing.Verify;

public sealed class RigidRegistrationTests
{
    private static readonly RunContext s_run = new();

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_random_motion_of_a_partial_noisy_scan_is_found_in_10_of_10() => FoundInEach(10);

    [Fact]
    [Trait("Kind", "Slow")]
    public void A_random_motion_of_a_partial_noisy_scan_is_found_in_100_of_100() => FoundInEach(100);

    [Fact]
    [Trait("Kind", "Truth")]
    public void One_percent_of_scale_is_reported_and_not_absorbed()
    {
        var model = Body(4);
        var found = RigidRegistration.Register(Mapped(model, RandomMotion(new Random(3)).After(Affine3.Scale(1.01))), model, s_run);
        found.ScanScale.Should().BeApproximately(1.01, 0.0005);
        found.ScanToModel.Determinant.Should().BeApproximately(1, 1e-9);
        // 1 % of about 40 mm to the middle, seen along normals that are not all radial.
        found.ResidualRmsMm.Should().BeGreaterThan(0.1);
        found.IsMirrored.Should().BeFalse();
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_mirrored_part_is_said_to_be_mirrored()
    {
        var model = Body(4);
        var mirrored = Affine3.Mirror(Vec3.Zero, new Vec3(0, 1, 0));
        var found = RigidRegistration.Register(Mapped(model, RandomMotion(new Random(4)).After(mirrored)), model, s_run);
        found.IsMirrored.Should().BeTrue();
        found.MirroredRmsMm.Should().BeLessThan(0.05);
        RigidRegistration.Register(model, model, s_run).IsMirrored.Should().BeFalse();
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Another_part_leaves_a_large_residual()
    {
        var found = RigidRegistration.Register(TestMeshes.Box(Vec3.Zero, new Vec3(90, 60, 30)), Body(4), s_run);
        found.ResidualRmsMm.Should().BeGreaterThan(1);
    }

    [Fact]
    [Trait("Kind", "Threads")]
    public void Same_result_on_any_number_of_threads()
    {
        var model = Body(3);
        var scan = Mapped(model, RandomMotion(new Random(5)));
        var expected = RigidRegistration.Register(scan, model, new RunContext(threads: 1));
        foreach (var threads in (int[])[2, 3, 16])
            RigidRegistration.Register(scan, model, new RunContext(threads: threads)).Should().Be(expected);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_scan_without_area_is_refused() =>
        FluentActions.Invoking(() => RigidRegistration.Register(Mesh.Empty, Body(2), s_run)).Should().Throw<BadInputException>().Which.File.Should().Be("scan");

    private static void FoundInEach(int cases)
    {
        var model = Body(5);
        for (var seed = 0; seed < cases; seed++)
        {
            var random = new Random(seed);
            var motion = RandomMotion(random);
            var scan = Mapped(Noisy(Part(model, random), random), motion);
            var found = RigidRegistration.Register(scan, model, s_run);
            var back = found.ScanToModel.After(motion);
            var worst = 0.0;
            for (var v = 0; v < model.VertexCount; v++)
                worst = Math.Max(worst, Vec3.Distance(back.Map(model.Vertex(v)), model.Vertex(v)));
            worst.Should().BeLessThan(0.05, "of seed {0}", seed);
        }
    }

    /// <summary>A body of about 80 mm with bumps that no rotation and no mirror maps onto itself.</summary>
    private static Mesh Body(int level)
    {
        (Vec3 Direction, double HeightMm)[] bumps = [(new(1, 0.2, 0.1), 22), (new(-0.3, 1, 0.4), 14), (new(0.1, -0.5, 1), 9), (new(-0.7, -0.6, -0.2), -8), (new(0.4, 0.6, -0.9), 6)];
        var ball = TestMeshes.Icosphere(level);
        var positions = new float[3 * ball.VertexCount];
        for (var v = 0; v < ball.VertexCount; v++)
        {
            var d = ball.Vertex(v).Normalized();
            var radius = 35 + bumps.Sum(b => b.HeightMm * Math.Exp(-4 * (d - b.Direction.Normalized()).LengthSquared));
            Put(positions, v, d * radius);
        }

        return new(Vec3.Zero, positions, ball.TriangleArray);
    }

    /// <summary>About seven tenths of the surface: what a scanner sees that does not reach below.</summary>
    private static Mesh Part(Mesh mesh, Random random)
    {
        var from = Direction(random);
        var triangles = new List<int>();
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            if (Vec3.Dot(mesh.Vertex(a), from) > -15)
                triangles.AddRange([a, b, c]);
        }

        return new(Vec3.Zero, mesh.PositionArray, [.. triangles]);
    }

    /// <summary>Every vertex moved by up to 0.1 mm along each axis.</summary>
    private static Mesh Noisy(Mesh mesh, Random random) => Moved(mesh, p => p + (new Vec3(random.NextDouble() - 0.5, random.NextDouble() - 0.5, random.NextDouble() - 0.5) * 0.2));

    private static Mesh Mapped(Mesh mesh, Affine3 map)
    {
        var moved = Moved(mesh, map.Map);
        if (map.Determinant > 0)
            return moved;
        var turned = moved.TriangleArray.ToArray();
        for (var i = 0; i < turned.Length; i += 3)
            (turned[i], turned[i + 1]) = (turned[i + 1], turned[i]);
        return new(Vec3.Zero, moved.PositionArray, turned);
    }

    private static Mesh Moved(Mesh mesh, Func<Vec3, Vec3> map)
    {
        var positions = new float[3 * mesh.VertexCount];
        for (var v = 0; v < mesh.VertexCount; v++)
            Put(positions, v, map(mesh.Vertex(v)));
        return new(Vec3.Zero, positions, mesh.TriangleArray);
    }

    private static void Put(float[] positions, int v, Vec3 p) =>
        (positions[3 * v], positions[(3 * v) + 1], positions[(3 * v) + 2]) = ((float)p.X, (float)p.Y, (float)p.Z);

    private static Affine3 RandomMotion(Random random)
    {
        var shift = new Vec3(random.NextDouble(), random.NextDouble(), random.NextDouble()) * 200;
        return Affine3.Translate(shift).After(Affine3.Rotate(Direction(random), random.NextDouble() * Math.PI));
    }

    private static Vec3 Direction(Random random)
    {
        var z = (2 * random.NextDouble()) - 1;
        var (s, c) = Math.SinCos(2 * Math.PI * random.NextDouble());
        var r = Math.Sqrt(1 - (z * z));
        return new(r * c, r * s, z);
    }
}
