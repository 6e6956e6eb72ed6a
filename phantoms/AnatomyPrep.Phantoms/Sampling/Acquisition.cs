using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Phantoms.Sampling;

/// <summary>Where samples lie, what each one averages, and the noise on it.</summary>
/// <remarks>
/// As on a scanner with a tilted gantry: the table moves along <see cref="SliceOrientation.Normal"/>, the slices are
/// turned about their rows by the tilt, so the stack is sheared and positions stay on the table's line.
/// </remarks>
public sealed record Acquisition
{
    public required int Columns { get; init; }

    public required int Rows { get; init; }

    /// <summary>From one column to the next: the second value of Pixel Spacing.</summary>
    public required double ColumnSpacingMm { get; init; }

    /// <summary>From one row to the next: the first value of Pixel Spacing.</summary>
    public required double RowSpacingMm { get; init; }

    /// <summary>Places of the slices along the table's way, relative to the centre; all different, any order, any gaps.</summary>
    public required IReadOnlyList<double> TablePositionsMm { get; init; }

    /// <summary>Where the middle of the picture lies at table position 0.</summary>
    public Vec3 CenterMm { get; init; }

    public SliceOrientation Orientation { get; init; } = SliceOrientation.Axial;

    /// <summary>Turn of the slices about their rows; positive turns the slice normal towards the column direction.</summary>
    public double GantryTiltDeg { get; init; }

    /// <summary>Along the slice normal; written to the header, and the depth that subsamples are spread over.</summary>
    public required double SliceThicknessMm { get; init; }

    /// <summary>1 takes the value at the sample's centre; n averages n³ points spread over the voxel (partial volume).</summary>
    public int SubsamplesPerAxis { get; init; } = 1;

    /// <summary>Standard deviation of the noise; 0 for none.</summary>
    public double NoiseSigmaHu { get; init; }

    /// <summary>Decides noise, UIDs and the scrambling of file names.</summary>
    public ulong Seed { get; init; } = 1;

    /// <summary>Pixels further than this from the middle of the picture hold the padding value; null for none.</summary>
    public double? CircleRadiusMm { get; init; }

    /// <summary>Table positions every <paramref name="spacingMm"/>, the middle of the stack at 0.</summary>
    public static double[] EvenPositions(int slices, double spacingMm) =>
        [.. Enumerable.Range(0, slices).Select(k => (k - ((slices - 1) / 2.0)) * spacingMm)];

    /// <summary>The smallest stack that covers a box in the given orientation and tilt.</summary>
    public static Acquisition Covering(
        Box3 boxMm,
        double columnSpacingMm,
        double rowSpacingMm,
        double sliceSpacingMm,
        SliceOrientation? orientation = null,
        double gantryTiltDeg = 0)
    {
        var directions = orientation ?? SliceOrientation.Axial;
        var (sin, cos) = Math.SinCos(gantryTiltDeg * (Math.PI / 180));
        double halfU = 0, halfV = 0, halfS = 0;
        for (var corner = 0; corner < 8; corner++)
        {
            var p = new Vec3(
                ((corner & 1) == 0 ? -0.5 : 0.5) * boxMm.Size.X,
                ((corner & 2) == 0 ? -0.5 : 0.5) * boxMm.Size.Y,
                ((corner & 4) == 0 ? -0.5 : 0.5) * boxMm.Size.Z);
            double u = Vec3.Dot(p, directions.AlongRow), y = Vec3.Dot(p, directions.AlongColumn), z = Vec3.Dot(p, directions.Normal);
            // p = u · row + v · (cos · column − sin · table) + s · table
            var v = y / cos;
            halfU = Math.Max(halfU, Math.Abs(u));
            halfV = Math.Max(halfV, Math.Abs(v));
            halfS = Math.Max(halfS, Math.Abs(z + (v * sin)));
        }

        return new Acquisition
        {
            Columns = Count(halfU, columnSpacingMm),
            Rows = Count(halfV, rowSpacingMm),
            ColumnSpacingMm = columnSpacingMm,
            RowSpacingMm = rowSpacingMm,
            TablePositionsMm = EvenPositions(Count(halfS, sliceSpacingMm), sliceSpacingMm),
            CenterMm = boxMm.Center,
            Orientation = directions,
            GantryTiltDeg = gantryTiltDeg,
            SliceThicknessMm = sliceSpacingMm * cos,
        };

        static int Count(double half, double spacing) => (int)Math.Ceiling((2 * half / spacing) - 1e-9) + 1;
    }
}
