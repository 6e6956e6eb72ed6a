using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Acquire;
using AnatomyPrep.Imaging.Segment;
using AnatomyPrep.Meshing.Surface;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Tests.Imaging.Segment;

namespace AnatomyPrep.Tests.Outside;

/// <summary>Structures of a real head that lies in a headrest, tilted gantry, slices 4 to 7 mm apart.</summary>
[Trait("Needs", "Shared")]
[Trait("Kind", "Outside")]
public sealed class HumanHeadTests : IDisposable
{
    private static readonly RunContext s_run = RunContext.Default;
    private readonly LoadedSeries _head = new DicomSource(TestProgram.Reader).Load(SharedData.Series("head-human-tilt-uneven"), null, s_run);

    private Volume Volume => _head.Volume;

    public void Dispose() => _head.Dispose();

    [Fact]
    public void Skull_comes_out_without_headrest_and_loses_no_sample()
    {
        using var bone = Threshold.Apply(Volume, new(300, short.MaxValue), s_run);
        using var kept = RemoveSupport.Apply(Volume, bone, new(), s_run).Region;

        // Bounds of the skull at 300 HU: table in shared/data/PROVENANCE.md. Between it and the shell, 85 mm to either side, is skin.
        const double leftmost = 77.003, rightmost = -78.010;
        var beside = RegionBits.Inside(bone).Where(s => Math.Abs(Position(s).X) > 85).ToArray();
        beside.Should().HaveCountGreaterThan(10_000, "the shell is there before");
        RegionBits.Inside(kept).Select(s => Position(s).X).Should().OnlyContain(x => x >= rightmost && x <= leftmost);

        using var before = Components.Find(bone, Volume.Map, s_run);
        using var after = Components.Find(kept, Volume.Map, s_run);
        after.Pieces[0].Should().Be(before.Pieces[0], "the skull is the largest piece, and not a sample of it is touched");
    }

    [Fact]
    [Trait("Kind", "Slow")]
    public void Skin_sinuses_and_airway_are_solids_of_a_plausible_size()
    {
        using var all = Threshold.Apply(Volume, new(-480, short.MaxValue), s_run);
        using var body = RemoveSupport.Apply(Volume, all, new(), s_run).Region;
        using var filled = FillInside.Apply(Volume, body, 3, s_run).Region;
        using var pieces = Components.Find(filled, Volume.Map, s_run);
        using var largest = pieces.Keep(1, s_run);
        var skin = Solid(largest);
        // Nothing of the shell, whose inner wall lies 93 mm and more beside the middle below the temples; ears reach 98 mm (PROVENANCE.md).
        skin.VolumeMm3.Should().BeInRange(2.5e6, 4e6);
        // One outer surface: what is hollow inside was filled.
        skin.Components.Should().Be(1);

        // A point in the right maxillary sinus; the nose hangs together with it.
        using var air = InnerAir.Apply(Volume, new(-480, 4, [], [new(-46.9, -54.1, -13.2)], Support: new()), s_run).Region;
        Solid(air).VolumeMm3.Should().BeInRange(1e4, 1e5);
    }

    [Fact]
    [Trait("Kind", "Slow")]
    public void First_vertebra_comes_off_the_skull_from_a_few_points()
    {
        using var bone = Threshold.Apply(Volume, new(300, short.MaxValue), s_run);
        using var skullAndNeck = RemoveSupport.Apply(Volume, bone, new(), s_run).Region;
        Vec3[] vertebra = [new(-20.5, 13.1, -35.6), new(18.6, 7.5, -33.8), new(-3.4, 6.1, -37.5)];
        Vec3[] skull = [new(5.4, 49.6, -31.0), new(-1.0, -0.8, -18.3), new(38.1, 4.7, -20.2), new(-40.0, 20.5, -25.5), new(-16.1, 14.9, -27.8), new(21.0, 16.3, -28.3)];
        using var split = Split.Apply(Volume, skullAndNeck, new([vertebra, skull]), s_run);

        var facts = Solid(split.Parts[0]);
        // What the scan holds of it: the upper half, and the tooth of the second vertebra that lies against it. Seen on the pictures.
        facts.VolumeMm3.Should().BeInRange(4e3, 2e4);
        RegionBits.Inside(split.Parts[0]).Select(Position).Should().OnlyContain(p => Math.Abs(p.X) < 50 && p.Z < 0);
    }

    private Vec3 Position((int I, int J, int K) s) => Volume.Map.Map(s.I, s.J, s.K);

    private MeshFacts Solid(Region region)
    {
        var facts = MeshFacts.Measure(FlyingEdges.Extract(Volume, region, s_run).Mesh, s_run);
        facts.Solid.Should().BeTrue();
        return facts;
    }
}
