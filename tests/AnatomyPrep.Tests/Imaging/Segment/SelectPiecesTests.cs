using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Segment;

namespace AnatomyPrep.Tests.Imaging.Segment;

public sealed class SelectPiecesTests
{
    private static readonly RunContext s_run = RunContext.Default;

    // Three rods along y at x = -10, 0 and 10, 3 mm across.
    private static Volume Rods() => Grid.FromPatient(41, 21, Grid.Map(41, 21, 11), p => Math.Abs(p.X) > 5 == (Math.Abs(Math.Abs(p.X) - 10) <= 1.5) && (Math.Abs(p.X) > 5 || Math.Abs(p.X) <= 1.5) ? 100 : 0);

    [Theory]
    [InlineData(true)]
    [InlineData(false)]
    public void Pieces_near_the_points_are_kept_or_dropped(bool keep)
    {
        using var volume = Rods();
        using var rods = Threshold.Apply(volume, new(50, 200), s_run);
        // The second point lies 2.5 mm beside its rod.
        var result = SelectPieces.Apply(volume, rods, [new(-10, 3, 0), new(13.5, -2, 1)], 3, keep, s_run);
        using (result.Region)
        {
            RegionBits.Inside(result.Region).Select(s => volume.Map.Map(s.I, s.J, s.K).X).Should().OnlyContain(x => Math.Abs(x) > 5 == keep);
            result.Effect.Measures!["piecesAfter"].Should().Be(keep ? 2 : 1);
            result.Findings.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.FragmentsDropped);
        }
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void The_piece_of_a_sample_is_the_one_that_keeping_it_gives()
    {
        using var volume = Grid.Noise(130, 7, 6, 4);
        using var region = Threshold.Apply(volume, new(0, 1), s_run);
        using var components = Components.Find(region, volume.Map, s_run);
        for (var piece = 0; piece < Math.Min(4, components.Pieces.Count); piece++)
        {
            using var kept = components.Keep(p => p == piece, s_run);
            foreach (var (i, j, k) in RegionBits.All(region))
                (components.PieceAt(i, j, k) == piece).Should().Be(kept[i, j, k]);
        }

        RegionBits.All(region).Where(s => !region[s.I, s.J, s.K]).Should().OnlyContain(s => components.PieceAt(s.I, s.J, s.K) == -1);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_point_without_a_piece_is_named_with_what_lies_there()
    {
        using var volume = Rods();
        using var rods = Threshold.Apply(volume, new(50, 200), s_run);
        ((Action)(() => SelectPieces.Apply(volume, rods, [new Vec3(5, 0, 0)], 2, true, s_run))).Should().Throw<BadInputException>().WithMessage("*5, 0, 0*within 2 mm*0 HU*raise reachMm*");
        ((Action)(() => SelectPieces.Apply(volume, rods, [new Vec3(500, 0, 0)], 2, true, s_run))).Should().Throw<BadInputException>().WithMessage("*outside the images*");
    }
}
