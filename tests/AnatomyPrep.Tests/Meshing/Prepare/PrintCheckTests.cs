using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Prepare;
using AnatomyPrep.Tests.Meshing.Shape;

namespace AnatomyPrep.Tests.Meshing.Prepare;

public sealed class PrintCheckTests
{
    private static readonly RunContext s_run = RunContext.Default;
    private static readonly Vec3 s_up = new(0, 0, 1);

    [Fact]
    public void A_sound_block_has_no_findings()
    {
        var (report, maps) = PrintCheck.Run(Solids.Box(new(0, 0, 0), new(40, 40, 40)), new(Profiles.Extrusion, s_up), s_run);
        report.Findings.Should().BeEmpty();
        report.Fit.Fits.Should().BeTrue();
        report.Lies.ContactMm2.Should().Be(0);
        maps.Overhang.Count(o => o == OverhangClass.OnBed).Should().Be(2);
        report.Measures().Values.Should().OnlyContain(v => double.IsFinite(v));
    }

    [Fact]
    public void Each_fault_has_its_finding_and_its_place()
    {
        // A plate of 0.3 mm beside two blocks with a gap of 0.2, a hollow one, all too long for the plate.
        var model = Solids.Merged(
            Solids.Moved(Solids.GridBox(20, 20), (_, p) => new(p.X, p.Y * 0.015, p.Z)),
            Solids.Moved(Solids.GridBox(20, 20), (_, p) => new(p.X + 40, p.Y, p.Z)),
            Solids.Moved(Solids.GridBox(20, 20), (_, p) => new(p.X + 60.2, p.Y, p.Z)),
            Solids.Box(new(300, 0, 0), new(330, 30, 30)),
            Solids.InsideOut(Solids.Icosphere(3, 10, new(315, 15, 15))),
            Solids.Box(new(200, 0, 40), new(210, 10, 50)));
        var (report, _) = PrintCheck.Run(model, new(Profiles.Extrusion, s_up), s_run);
        var codes = report.Findings.Select(f => f.Code).Distinct();
        codes.Should().Contain([FindingCodes.WallBelowProcess, FindingCodes.GapNarrow, FindingCodes.VoidTraps, FindingCodes.IslandsPresent, FindingCodes.PartTooLarge]);
        report.Findings.Where(f => f.Code != FindingCodes.StandsUnsteady).Should().OnlyContain(f => f.Place != null && f.Place.PositionMm != null);
        var wall = report.Findings.First(f => f.Code == FindingCodes.WallBelowProcess);
        wall.Place!.PositionMm!.Value.X.Should().BeLessThan(21);
        report.Walls.LeastMm.Should().BeApproximately(0.3, 1e-3);
        report.Findings.First(f => f.Code == FindingCodes.GapNarrow).Place!.PositionMm!.Value.X.Should().BeApproximately(60.1, 0.2);
        report.Gaps.LeastMm.Should().BeApproximately(0.2, 1e-3);
        report.Findings.First(f => f.Code == FindingCodes.VoidTraps).Remedy.Should().Contain("tried, it opens");
        Vec3.Distance(report.Findings.First(f => f.Code == FindingCodes.VoidTraps).Place!.PositionMm!.Value, new(315, 15, 15)).Should().BeLessThan(0.1);
    }

    [Fact]
    public void Open_and_empty_models_are_refused_with_the_remedy()
    {
        ((Action)(() => PrintCheck.Run(Solids.Sheet(3, 3, 1), new(Profiles.Extrusion, s_up), s_run))).Should().Throw<CheckFailedException>().Which.Message.Should().Contain("clean-scan");
        ((Action)(() => PrintCheck.Run(Mesh.Empty, new(Profiles.Extrusion, s_up), s_run))).Should().Throw<CheckFailedException>();
        ((Action)(() => PrintCheck.Run(Solids.Icosphere(1, 5), new(Profiles.Extrusion, Vec3.Zero), s_run))).Should().Throw<PlanException>();
    }

    [Fact]
    public void Laid_models_stand_on_the_bed_and_keep_their_form()
    {
        var t = SupportNeedTests.TShape();
        var (result, search) = Lay.Apply(t, new(Profiles.Extrusion), s_run);
        result.Mesh.BoundsMm().Min.Z.Should().BeApproximately(0, 1e-5);
        result.Mesh.BoundsMm().Center.X.Should().BeApproximately(0, 1e-4);
        result.Effect.VolumeAfterMm3.Should().BeApproximately(result.Effect.VolumeBeforeMm3!.Value, 1e-2);
        SupportNeed.Measure(result.Mesh, s_up, 45, 0.5, s_run).Lies.ContactMm2.Should().BeApproximately(search!.Chosen.ContactMm2, 1e-2);
        result.Findings.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.OrientationChosen);
        var (given, none) = Lay.Apply(t, new(Profiles.Extrusion, Up: new(0, 0, -1)), s_run);
        none.Should().BeNull();
        given.Mesh.BoundsMm().Size.Z.Should().BeApproximately(25, 1e-4);
        SupportNeed.Measure(given.Mesh, s_up, 45, 0.5, s_run).Lies.ContactMm2.Should().Be(0);
        ((Action)(() => Lay.Apply(t, new(Profiles.Extrusion, KeepFreeRadiusMm: 0), s_run))).Should().Throw<PlanException>();
        ((Action)(() => Lay.Apply(Mesh.Empty, new(Profiles.Extrusion), s_run))).Should().Throw<CheckFailedException>();
    }
}
