using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Phantoms.Sampling;
using CsCheck;

namespace AnatomyPrep.Tests.Phantoms.Sampling;

public sealed class AcquisitionTests
{
    private static readonly Box3 s_box = new(new Vec3(-30, -10, -45), new Vec3(34, 26, 61));

    [Fact]
    [Trait("Kind", "Outside")]
    public void Tilt_turns_the_slices_and_leaves_positions_on_the_table()
    {
        // Worked example of a tilted series: Y = (0, 0.939693, -0.34202), positions along (0, 0, 1): 20.000 degrees, and
        // over 147.657 mm of table 138.752 mm of perpendicular extent (public issue on a tilted series; rest by hand).
        var acquisition = Acquisition.Covering(s_box, 1, 1, 1, gantryTiltDeg: 20) with { TablePositionsMm = [0, 147.657] };
        var geometry = new SliceGeometry(acquisition);
        geometry.AlongColumn.Y.Should().BeApproximately(0.939693, 5e-7);
        geometry.AlongColumn.Z.Should().BeApproximately(-0.342020, 5e-7);
        var run = geometry.PositionsMm[1] - geometry.PositionsMm[0];
        run.X.Should().BeApproximately(0, 1e-9);
        run.Y.Should().BeApproximately(0, 1e-9);
        geometry.Map.TiltDeg.Should().BeApproximately(20, 1e-9);
        Vec3.Dot(run, geometry.Map.Normal).Should().BeApproximately(138.752, 5e-4);
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Stack_covers_its_box_in_every_orientation_and_tilt()
    {
        var orientations = SliceOrientation.AllAxisOrders();
        orientations.Should().HaveCount(24).And.OnlyHaveUniqueItems();
        Gen.Select(Gen.Int[0, 23], Gen.Double[-30, 30], Gen.Double[-40, 40], Gen.Double[0, 1].Array[3]).Sample(
            (o, tilt, turn, share) =>
            {
                var acquisition = Acquisition.Covering(s_box, 0.9, 1.1, 1.3, orientations[o].Turned(new Vec3(1, -2, 0.5), turn), tilt);
                var map = new SliceGeometry(acquisition).Map;
                var p = s_box.Min + new Vec3(share[0] * s_box.Size.X, share[1] * s_box.Size.Y, share[2] * s_box.Size.Z);
                var index = map.Invert(p);
                return map.IsRightHanded &&
                    index.X >= -1e-6 && index.X <= acquisition.Columns - 1 + 1e-6 &&
                    index.Y >= -1e-6 && index.Y <= acquisition.Rows - 1 + 1e-6 &&
                    index.Z >= -1e-6 && index.Z <= acquisition.TablePositionsMm.Count - 1 + 1e-6;
            },
            iter: 500);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Impossible_acquisitions_are_refused()
    {
        var good = Acquisition.Covering(s_box, 1, 1, 1);
        Acquisition[] bad =
        [
            good with { Columns = 0 },
            good with { Rows = 70000 },
            good with { RowSpacingMm = 0 },
            good with { ColumnSpacingMm = double.NaN },
            good with { SliceThicknessMm = -1 },
            good with { NoiseSigmaHu = -1 },
            good with { SubsamplesPerAxis = 0 },
            good with { GantryTiltDeg = 90 },
            good with { TablePositionsMm = [] },
            good with { TablePositionsMm = [0, 1, 1] },
            good with { Orientation = new SliceOrientation(new Vec3(1, 0, 0), new Vec3(1, 0, 0)) },
            good with { Orientation = new SliceOrientation(new Vec3(2, 0, 0), new Vec3(0, 1, 0)) },
        ];
        foreach (var acquisition in bad)
        {
            var make = () => new SliceGeometry(acquisition);
            make.Should().Throw<ArgumentException>();
        }
    }
}
