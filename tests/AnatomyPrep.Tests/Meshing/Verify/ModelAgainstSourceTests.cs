using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Tests.Meshing.Shape;

namespace AnatomyPrep.Tests.Meshing.Verify;

public sealed class ModelAgainstSourceTests
{
    private const double ToleranceMm = 0.5;

    private static readonly RunContext s_run = new();
    private static readonly Mesh s_source = Lumpy(1);

    [Fact]
    [Trait("Kind", "Truth")]
    public void The_source_itself_agrees()
    {
        var agreement = ModelAgainstSource.Measure(s_source, s_source, ToleranceMm, s_run);
        agreement.Findings.Should().BeEmpty();
        agreement.MaxMm.Should().BeLessThan(1e-9);
        agreement.ScaleOfModel.Should().BeApproximately(1, 1e-9);
        agreement.ByOrigin.Should().ContainSingle().Which.AreaShare.Should().Be(1);
    }

    /// <summary>Exact copies, so what the fit leaves is rounding to float32 (4e-6 mm at 60 mm) and its own stop at 1e-5 mm.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void A_scaled_model_is_told_with_its_scale()
    {
        var agreement = ModelAgainstSource.Measure(s_source.Moved(Affine3.Scale(1.02)), s_source, ToleranceMm, s_run);
        Codes(agreement).Should().Equal(FindingCodes.ModelScaledUnasked);
        agreement.ScaleOfModel.Should().BeApproximately(1.02, 1e-5);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_shifted_model_is_told_with_its_shift()
    {
        var agreement = ModelAgainstSource.Measure(s_source.Moved(Affine3.Translate(new(0.6, 0, 0.8))), s_source, ToleranceMm, s_run);
        Codes(agreement).Should().Equal(FindingCodes.ModelMoved);
        agreement.ShiftMm.Should().BeApproximately(1, 1e-4);
        agreement.ScaleOfModel.Should().BeApproximately(1, 1e-5);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_mirrored_model_is_told()
    {
        var mirrored = s_source.Moved(Affine3.Mirror(Vec3.Zero, new(1, 0, 0))).Turned();
        var agreement = ModelAgainstSource.Measure(mirrored, s_source, ToleranceMm, s_run);
        Codes(agreement).Should().Equal(FindingCodes.ModelMirrored);
        agreement.P95AfterFitMm.Should().BeLessThan(1e-3);
    }

    /// <summary>Lumps of a tenth of the radius averaged away: what is left differs by mm, and no scale or shift explains it.</summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void A_model_smoothed_too_much_is_told()
    {
        var agreement = ModelAgainstSource.Measure(Lumpy(0.6), s_source, ToleranceMm, s_run);
        Codes(agreement).Should().Equal(FindingCodes.ModelSmoothed);
        agreement.ReliefKept.Should().BeLessThan(0.9);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_model_of_another_source_is_told()
    {
        var other = TestMeshes.Box(new(-60, -30, -45), new(60, 30, 45));
        Codes(ModelAgainstSource.Measure(other, s_source, ToleranceMm, s_run)).Should().Equal(FindingCodes.ModelOfOtherSource);
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Same_figures_on_any_number_of_threads()
    {
        var model = s_source.Moved(Affine3.Scale(1.01));
        var one = ModelAgainstSource.Measure(model, s_source, ToleranceMm, new(threads: 1));
        foreach (var threads in (int[])[2, 3, 16])
            ModelAgainstSource.Measure(model, s_source, ToleranceMm, new(threads: threads)).Should().BeEquivalentTo(one);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void What_has_no_surface_or_no_tolerance_is_refused()
    {
        FluentActions.Invoking(() => ModelAgainstSource.Measure(Mesh.Empty, s_source, ToleranceMm, s_run)).Should().Throw<BadInputException>();
        FluentActions.Invoking(() => ModelAgainstSource.Measure(s_source, Mesh.Empty, ToleranceMm, s_run)).Should().Throw<BadInputException>();
        FluentActions.Invoking(() => ModelAgainstSource.Measure(s_source, s_source, 0, s_run)).Should().Throw<ArgumentOutOfRangeException>();
    }

    private static IEnumerable<string> Codes(SourceAgreement agreement) => agreement.Findings.Select(f => f.Code);

    /// <summary>An egg with lumps, unlike its mirror image in every plane; <paramref name="lumps"/> of 1 gives them in full.</summary>
    private static Mesh Lumpy(double lumps) => Solids.Moved(TestMeshes.Icosphere(4), (_, p) =>
    {
        var lump = (0.06 * Math.Sin((7 * p.X) + 0.4)) + (0.05 * Math.Sin((6 * p.Y) + (3 * p.X * p.Z) + 1)) + (0.05 * Math.Cos((8 * p.Z) - (4 * p.Y)));
        var radius = 40 * (1 + (lumps * lump));
        return new Vec3(1.3 * p.X, p.Y, 0.9 * p.Z + (0.2 * p.X * p.Y)) * radius;
    });
}
