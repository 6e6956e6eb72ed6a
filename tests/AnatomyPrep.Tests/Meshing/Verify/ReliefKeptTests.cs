using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Tests.Meshing.Verify;

public sealed class ReliefKeptTests
{
    private const double WaveMm = 4;
    private const double HeightMm = 0.1;

    private static readonly RunContext s_run = new();

    /// <summary>
    /// Waves of one length keep the share g by which they are lower, whatever it is. Slopes are at most s = 2π·0.1/4 = 0.16, and the distance to a sloping
    /// surface is the height times cos(atan s) ≥ 1 − s²/2, so the loss 1 − g is measured at most 1.3 % of itself too small; measured normals and the
    /// finite grid of 0.25 mm (chords of a wave: (π·0.25/4)²/2 = 2 %) give the rest of 4 %.
    /// </summary>
    [Theory]
    [Trait("Kind", "Truth")]
    [InlineData(1)]
    [InlineData(0.9)]
    [InlineData(0.5)]
    [InlineData(0)]
    public void Waves_keep_the_share_they_have_left(double share) =>
        Kept(Sheet(share), Sheet(1)).Should().BeApproximately(share, (0.04 * (1 - share)) + 1e-6);

    /// <summary>An even offset lies 0.3 mm off everywhere and takes no relief; across slopes up to 0.16 it makes sheets differ by 1.3 % of 0.3 mm of the slope's second order.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void An_even_offset_takes_no_relief() =>
        Kept(Sheet(1).Moved(Affine3.Translate(new(0, 0, 0.3))), Sheet(1)).Should().BeApproximately(1, 0.05);

    [Fact]
    [Trait("Kind", "Property")]
    public void Where_the_model_is_filled_nothing_is_told()
    {
        var sheet = Sheet(0.5);
        var filled = new Mesh(sheet.OriginMm, sheet.Positions.ToArray(), sheet.Triangles.ToArray(), [.. Enumerable.Repeat(Origin.Filled, sheet.TriangleCount)]);
        Kept(filled, Sheet(1)).Should().BeNull();
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Same_figure_on_any_number_of_threads()
    {
        Mesh model = Sheet(0.7), source = Sheet(1);
        var one = Kept(model, source, 1);
        foreach (var threads in (int[])[2, 3, 16])
            Kept(model, source, threads).Should().Be(one);
    }

    private static double? Kept(Mesh model, Mesh source, int? threads = null)
    {
        var run = threads is { } n ? new RunContext(threads: n) : s_run;
        return ReliefKept.Measure(SignedDistance.To(model, run), Affine3.Identity, source, run);
    }

    /// <summary>60 x 60 mm of waves along x, their height a share of 0.1 mm.</summary>
    private static Mesh Sheet(double share)
    {
        const int Steps = 240;
        const double StepMm = 0.25;
        var positions = new List<float>();
        var triangles = new List<int>();
        for (var j = 0; j <= Steps; j++)
        {
            for (var i = 0; i <= Steps; i++)
            {
                double x = i * StepMm, y = j * StepMm;
                var z = share * HeightMm * Math.Cos(2 * Math.PI * x / WaveMm);
                positions.AddRange([(float)x, (float)y, (float)z]);
                if (i == Steps || j == Steps)
                    continue;
                var a = (j * (Steps + 1)) + i;
                triangles.AddRange([a, a + 1, a + Steps + 2, a, a + Steps + 2, a + Steps + 1]);
            }
        }

        return new(Vec3.Zero, [.. positions], [.. triangles], new Origin[triangles.Count / 3]);
    }
}
