using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Phantoms.Solids;

namespace AnatomyPrep.Tests.Phantoms.Solids;

public sealed class ClosedFormTests
{
    private static readonly Dictionary<string, (Solid Solid, double Volume, double Area, int Euler)> s_handbook = new()
    {
        // Values: formulas of any handbook of mathematics, evaluated independently of this code to nine decimals; the
        // ellipsoid's area from the elliptic integrals (p = 1.6075 approximation would be 0.18 % high).
        ["sphere"] = (new Sphere(Vec3.Zero, 10), 4188.790205, 1256.637061, 2),
        ["ellipsoid"] = (new Ellipsoid(Vec3.Zero, new Vec3(30, 20, 10)), 25132.741229, 4888.214630, 2),
        ["ellipsoid, head size"] = (new Ellipsoid(Vec3.Zero, new Vec3(75, 95, 70)), 2089159.115, 80075.809, 2),
        ["torus"] = (new Torus(30, 10), 59217.626407, 11843.525281, 0),
        ["cylinder"] = (new CappedCylinder(10, 40), 12566.370614, 3141.592654, 2),
        ["frustum"] = (new Frustum(20, 10, 30), 21991.148575, 4551.172807, 2),
        ["capsule"] = (new Capsule(Vec3.Zero, new Vec3(0, 40, 0), 10), 16755.160819, 3769.911184, 2),
        ["shell"] = (new SphericalShell(Vec3.Zero, 50, 45), 141895.268187, 56862.827030, 4),
        ["drilled plate"] = (new DrilledPlate(new Vec3(40, 40, 10), 5), 15214.601837, 4957.079633, 0),
    };

    public static TheoryData<string> HandbookNames => [.. s_handbook.Keys];

    public static TheoryData<string, double> Offsets()
    {
        var data = new TheoryData<string, double>();
        foreach (var (name, solid) in Specimens.All)
            foreach (var offset in (double[])[-1.3, -0.4, 0, 0.7, 2.1])
                if (solid.ClosedForm(offset) is not null)
                    data.Add(name, offset);
        return data;
    }

    [Theory]
    [Trait("Kind", "Outside")]
    [MemberData(nameof(HandbookNames))]
    public void Measures_are_those_of_the_handbook(string name)
    {
        var (solid, volume, area, euler) = s_handbook[name];
        var found = solid.ClosedForm(0)!.Value;
        // Half a unit of the last printed place.
        found.VolumeMm3.Should().BeApproximately(volume, name == "ellipsoid, head size" ? 5e-4 : 5e-7);
        found.AreaMm2.Should().BeApproximately(area, name == "ellipsoid, head size" ? 5e-4 : 5e-7);
        found.Euler.Should().Be(euler);
    }

    [Fact]
    [Trait("Kind", "Outside")]
    public void Two_spheres_lose_their_lens()
    {
        // Radius 10, 10 apart: lens π (4r + d)(2r − d)² / 12 = 1308.996939, union 7068.583471 (handbook).
        var pair = new SpherePair(Vec3.Zero, new Vec3(0, 0, 10), 10).ClosedForm(0)!.Value;
        pair.VolumeMm3.Should().BeApproximately(7068.583471, 5e-7);
        pair.Bodies.Should().Be(1);
        new SpherePair(Vec3.Zero, new Vec3(0, 0, 30), 10).ClosedForm(0)!.Value.Bodies.Should().Be(2);
    }

    [Theory]
    [Trait("Kind", "Property")]
    [MemberData(nameof(Offsets))]
    public void Area_is_the_rate_at_which_volume_grows(string name, double offset)
    {
        // V' = A for a parallel body. One-sided at 0, where shapes with edges change formula; then the error is A' h / 2.
        const double H = 1e-4;
        var solid = Specimens.All[name];
        var here = solid.ClosedForm(offset)!.Value;
        var beyond = solid.ClosedForm(offset + H);
        if (beyond is null)
            return;
        var rate = (beyond.Value.VolumeMm3 - here.VolumeMm3) / H;
        var mean = (beyond.Value.AreaMm2 + here.AreaMm2) / 2;
        // Trapezoid against integral of a quadratic: A'' H² / 12, plus rounding of two volumes.
        rate.Should().BeApproximately(mean, (8 * Math.PI * H * H / 12) + (here.VolumeMm3 * 4e-16 / H) + 1e-6);
    }

    [Theory]
    [Trait("Kind", "Truth")]
    [MemberData(nameof(Offsets))]
    public void Counting_cells_of_the_distance_gives_the_closed_form_volume(string name, double offset)
    {
        var solid = Specimens.All[name];
        var (volume, uncertainty) = VolumeIntegral.Of(solid, offset, 1, RunContext.Default);
        var known = solid.ClosedForm(offset)!.Value;
        Math.Abs(volume - known.VolumeMm3).Should().BeLessThan(uncertainty);
        // The uncertainty itself is small: M cell²/12 · 4/3 with M about √(4π A), and noise of some A / cell² cells.
        uncertainty.Should().BeLessThan((0.4 * Math.Sqrt(4 * Math.PI * known.AreaMm2)) + (0.1 * Math.Sqrt(known.AreaMm2)));
    }

    [Fact]
    [Trait("Kind", "Outside")]
    public void Parallel_ellipsoid_agrees_with_the_support_function()
    {
        // M = integral of the support function h over directions (Minkowski). The midpoint rule in z errs by Δz²/24 times the
        // jump of the slope between the ends, 2 · 2π ((a² + b²)/2 − c²) / 2c: 1.8e-4 here.
        const int N = 800;
        var (a, b, c) = (30.0, 20.0, 10.0);
        double m = 0;
        for (var i = 0; i < N; i++)
        {
            var z = -1 + ((i + 0.5) * 2 / N);
            for (var j = 0; j < N; j++)
            {
                var (s, k) = Math.SinCos((j + 0.5) * 2 * Math.PI / N);
                var r2 = 1 - (z * z);
                m += Math.Sqrt((r2 * ((a * a * k * k) + (b * b * s * s))) + (c * c * z * z));
            }
        }

        m *= 4 * Math.PI / ((double)N * N);
        var solid = new Ellipsoid(Vec3.Zero, new Vec3(a, b, c));
        double At(double d) => solid.ClosedForm(d)!.Value.VolumeMm3;
        // V(d) + V(-d) = 2V + 2 M d².
        var found = (At(2) + At(-2) - (2 * At(0))) / 8;
        found.Should().BeApproximately(m, 2e-4);
    }

    [Theory]
    [Trait("Kind", "Hostile")]
    [InlineData(-3.4)]
    [InlineData(-40)]
    public void Ellipsoid_claims_nothing_beyond_its_smallest_radius_of_curvature(double offset) =>
        new Ellipsoid(Vec3.Zero, new Vec3(30, 20, 10)).ClosedForm(offset).Should().BeNull();

    [Fact]
    [Trait("Kind", "Truth")]
    public void Letter_with_a_hole_counts_its_hole()
    {
        var ring = new Prism([[(0, 0), (10, 0), (10, 10), (0, 10)], [(3, 3), (6, 3), (6, 7), (3, 7)]], 5);
        // 100 − 12 = 88 mm² of figure, perimeter 40 + 14.
        ring.ClosedForm(0).Should().Be(new SurfaceMeasures(440, 176 + 270, 0, 1));
        ring.DistanceMm(new Vec3(4.5, 5, 0)).Should().BeApproximately(1.5, 1e-12);
    }
}
