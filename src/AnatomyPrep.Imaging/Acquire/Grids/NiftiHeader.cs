using System.Buffers.Binary;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Imaging.Acquire.Grids;

/// <summary>Reads the header of NIfTI-1 and NIfTI-2, in one file or as a pair of .hdr and .img.</summary>
/// <remarks>
/// Layout and rules: nifti1.h (R. Cox, 2007) and nifti2.h (2011), from memory and checked against two outside readers: sform
/// before qform; coordinates are RAS+, so x and y change sign to become LPS; slope 0 means no scaling. Text fields are
/// not read. The older Analyze format, which shares the layout, does not say which side is left and is refused.
/// </remarks>
internal static class NiftiHeader
{
    public const int Bytes1 = 348;
    public const int Bytes2 = 540;
    private const double DisagreeMm = 0.1;

    /// <summary>The size field as either byte order would write it.</summary>
    public static bool Begins(ReadOnlySpan<byte> head) => head.Length >= 4
        && (BinaryPrimitives.ReadInt32LittleEndian(head) is Bytes1 or Bytes2 || BinaryPrimitives.ReadInt32BigEndian(head) is Bytes1 or Bytes2);

    /// <param name="data">The file with the samples: the header's own, or the .img beside it.</param>
    /// <param name="packing">Of <paramref name="data"/>.</param>
    /// <exception cref="BadInputException">The header cannot be believed.</exception>
    public static GridHeader Read(ReadOnlySpan<byte> head, bool pair, string data, Packing packing, GridChecks checks)
    {
        var big = BinaryPrimitives.ReadInt32LittleEndian(head) is not (Bytes1 or Bytes2);
        var second = Int(head, 0, big) == Bytes2;
        if (head.Length < (second ? Bytes2 : Bytes1))
            throw checks.Bad("header", FormattableString.Invariant($"{head.Length} of its {(second ? Bytes2 : Bytes1)} bytes"));
        var fields = new Fields(head, big, second);
        CheckMagic(fields, pair, checks);
        var findings = new List<Finding>();
        var (columns, rows, slices) = ReadSizes(fields, checks);
        var toMm = ReadUnit(fields, checks, findings);
        var map = ReadMap(fields, toMm, checks, findings, (columns, rows, slices));
        var (slope, intercept) = ReadScale(fields, checks);
        var offset = ReadOffset(fields, pair, checks);
        var place = packing == Packing.Raw ? new GridData(data, packing, offset) : new GridData(data, packing, 0, offset);
        return new(second ? "NIfTI-2" : "NIfTI-1", columns, rows, slices, map, ReadType(fields, checks), big, slope, intercept, place, findings);
    }

    private static void CheckMagic(Fields fields, bool pair, GridChecks checks)
    {
        var expected = (fields.Second, pair) switch
        {
            (false, false) => "n+1\0"u8,
            (false, true) => "ni1\0"u8,
            (true, false) => "n+2\0"u8,
            _ => "ni2\0"u8,
        };
        var magic = fields.Magic;
        if (magic.SequenceEqual(expected))
            return;
        if (magic[0] == 'n' && magic[1] is (byte)'+' or (byte)'i')
            throw checks.Bad("magic", pair ? "that of a single file, in a header of its own" : "that of a pair of files, in a single one", "Give the .hdr and the .img side by side, or one .nii.");
        throw checks.Bad("magic", "missing: the older Analyze form, which does not say which side is left", "Convert it to NIfTI where its orientation is known.");
    }

    private static (int Columns, int Rows, int Slices) ReadSizes(Fields fields, GridChecks checks)
    {
        var dimensions = fields.Dim(0);
        if (dimensions is < 1 or > 7)
            throw checks.Bad("dim[0]", FormattableString.Invariant($"{dimensions}"), "A volume has 3 dimensions.");
        for (var d = 4; d <= dimensions; d++)
            if (fields.Dim(d) != 1)
                throw checks.Bad(FormattableString.Invariant($"dim[{d}]"), FormattableString.Invariant($"{fields.Dim(d)}: more than one volume, or several values a sample"), "Save the one volume that is meant.");
        return checks.Sizes("dim", fields.Dim(1), dimensions > 1 ? fields.Dim(2) : 1, dimensions > 2 ? fields.Dim(3) : 1);
    }

    /// <summary>Factor to millimetres.</summary>
    private static double ReadUnit(Fields fields, GridChecks checks, List<Finding> findings)
    {
        switch (fields.Units & 7)
        {
            case 1:
                return 1000;
            case 2:
                return 1;
            case 3:
                return 0.001;
            case 0:
                findings.Add(new(FindingCodes.UnitUnknown, Severity.Caution, "The file states no unit of length (xyzt_units); taken for millimetres.", "Check a known size in the result, or save the volume again with its unit."));
                return 1;
            default:
                throw checks.Bad("xyzt_units", FormattableString.Invariant($"{fields.Units & 7}, no unit of length"));
        }
    }

    private static Affine3 ReadMap(Fields fields, double toMm, GridChecks checks, List<Finding> findings, (int Columns, int Rows, int Slices) size)
    {
        var sform = fields.SformCode > 0 ? checks.Map("sform", ToLps(Sform(fields), toMm)) : (Affine3?)null;
        var qform = fields.QformCode > 0 ? checks.Map("qform", ToLps(Qform(fields, checks), toMm)) : (Affine3?)null;
        if ((sform ?? qform) is not { } map)
            throw checks.Bad("qform_code and sform_code", "both 0", GridChecks.UnknownSide);
        if (Math.Max(sform is null ? 0 : fields.SformCode, sform is null ? fields.QformCode : 0) is 3 or 4)
            findings.Add(new(FindingCodes.AtlasSpace, Severity.Caution, "The file says that its coordinates are those of an atlas, so sizes may not be the patient's.", "Use the volume as it was before it was fitted to the atlas."));
        if (sform is { } s && qform is { } q && FarthestApartMm(s, q, size) is var apart && apart > DisagreeMm)
            findings.Add(new(FindingCodes.OrientationDisagrees, Severity.Caution, FormattableString.Invariant($"The file's two orientations (sform and qform) put its corners up to {apart:F3} mm apart; sform is used."), "Ask which one is right before a side is trusted."));
        return map;
    }

    private static Affine3 Sform(Fields fields) => new(fields.SformColumn(0), fields.SformColumn(1), fields.SformColumn(2), fields.SformColumn(3));

    /// <summary>Rotation from a unit quaternion whose first part is left out, times spacing; the sign of pixdim[0] turns the third axis.</summary>
    private static Affine3 Qform(Fields fields, GridChecks checks)
    {
        double b = fields.Quatern(0), c = fields.Quatern(1), d = fields.Quatern(2);
        var rest = 1 - ((b * b) + (c * c) + (d * d));
        if (!(rest > -1e-3))
            throw checks.Bad("quatern_b, quatern_c, quatern_d", "longer than one: no rotation");
        var a = Math.Sqrt(Math.Max(0, rest));
        if (a < 1e-7)
        {
            // A half turn, written with rounding: what is there is made a unit again.
            var length = Math.Sqrt((b * b) + (c * c) + (d * d));
            (a, b, c, d) = (0, b / length, c / length, d / length);
        }

        Vec3 x = new((a * a) + (b * b) - (c * c) - (d * d), 2 * ((b * c) + (a * d)), 2 * ((b * d) - (a * c)));
        Vec3 y = new(2 * ((b * c) - (a * d)), (a * a) + (c * c) - (b * b) - (d * d), 2 * ((c * d) + (a * b)));
        Vec3 z = new(2 * ((b * d) + (a * c)), 2 * ((c * d) - (a * b)), (a * a) + (d * d) - (b * b) - (c * c));
        var turn = fields.Pixdim(0) < 0 ? -1 : 1;
        double sx = Spacing(fields, checks, 1), sy = Spacing(fields, checks, 2), sz = Spacing(fields, checks, 3);
        return new(x * sx, y * sy, z * (sz * turn), new(fields.Offset(0), fields.Offset(1), fields.Offset(2)));
    }

    private static double Spacing(Fields fields, GridChecks checks, int axis) =>
        fields.Pixdim(axis) is var mm && mm > 0 ? mm : throw checks.Bad(FormattableString.Invariant($"pixdim[{axis}]"), "not a positive number");

    private static Affine3 ToLps(Affine3 ras, double toMm)
    {
        Vec3 Turn(Vec3 v) => new(-v.X * toMm, -v.Y * toMm, v.Z * toMm);
        return new(Turn(ras.X), Turn(ras.Y), Turn(ras.Z), Turn(ras.Translation));
    }

    private static double FarthestApartMm(Affine3 a, Affine3 b, (int Columns, int Rows, int Slices) size)
    {
        var farthest = 0.0;
        for (var corner = 0; corner < 8; corner++)
        {
            var at = new Vec3((corner & 1) * (size.Columns - 1), ((corner >> 1) & 1) * (size.Rows - 1), (corner >> 2) * (size.Slices - 1));
            farthest = Math.Max(farthest, Vec3.Distance(a.Map(at), b.Map(at)));
        }

        return farthest;
    }

    private static (double Slope, double Intercept) ReadScale(Fields fields, GridChecks checks)
    {
        var slope = checks.Finite("scl_slope", fields.Slope);
        return slope == 0 ? (1, 0) : (slope, checks.Finite("scl_inter", fields.Intercept));
    }

    private static long ReadOffset(Fields fields, bool pair, GridChecks checks)
    {
        var offset = fields.VoxOffset;
        var least = pair ? 0 : fields.Second ? Bytes2 : Bytes1;
        return offset >= least && offset < 1e9 && offset == Math.Floor(offset)
            ? (long)offset
            : throw checks.Bad("vox_offset", FormattableString.Invariant($"{offset:G9}, where no samples can begin"));
    }

    private static SampleType ReadType(Fields fields, GridChecks checks) => fields.Datatype switch
    {
        2 => SampleType.UInt8,
        4 => SampleType.Int16,
        8 => SampleType.Int32,
        16 => SampleType.Float32,
        64 => SampleType.Float64,
        256 => SampleType.Int8,
        512 => SampleType.UInt16,
        768 => SampleType.UInt32,
        1024 => SampleType.Int64,
        1280 => SampleType.UInt64,
        var other => throw checks.Bad("datatype", FormattableString.Invariant($"{other}: colour, complex or another kind that is no CT"), "Save it as 16-bit whole numbers."),
    };

    private static int Int(ReadOnlySpan<byte> head, int at, bool big) =>
        big ? BinaryPrimitives.ReadInt32BigEndian(head[at..]) : BinaryPrimitives.ReadInt32LittleEndian(head[at..]);

    /// <summary>The fields by name, wherever the two versions put them.</summary>
    private readonly ref struct Fields(ReadOnlySpan<byte> head, bool big, bool second)
    {
        private readonly ReadOnlySpan<byte> _head = head;

        public bool Second => second;

        public ReadOnlySpan<byte> Magic => _head.Slice(second ? 4 : 344, 4);

        public int Datatype => Short(second ? 12 : 70);

        public double VoxOffset => second ? Long(168) : Single(108);

        public double Slope => second ? Double(176) : Single(112);

        public double Intercept => second ? Double(184) : Single(116);

        public int Units => second ? Int(_head, 500, big) : _head[123];

        public int QformCode => second ? Int(_head, 344, big) : Short(252);

        public int SformCode => second ? Int(_head, 348, big) : Short(254);

        public long Dim(int d) => second ? Long(16 + (8 * d)) : Short(40 + (2 * d));

        public double Pixdim(int d) => second ? Double(104 + (8 * d)) : Single(76 + (4 * d));

        public double Quatern(int n) => second ? Double(352 + (8 * n)) : Single(256 + (4 * n));

        public double Offset(int n) => second ? Double(376 + (8 * n)) : Single(268 + (4 * n));

        public Vec3 SformColumn(int column) => new(Srow(0, column), Srow(1, column), Srow(2, column));

        private double Srow(int row, int column) => second ? Double(400 + (32 * row) + (8 * column)) : Single(280 + (16 * row) + (4 * column));

        private short Short(int at) => big ? BinaryPrimitives.ReadInt16BigEndian(_head[at..]) : BinaryPrimitives.ReadInt16LittleEndian(_head[at..]);

        private long Long(int at) => big ? BinaryPrimitives.ReadInt64BigEndian(_head[at..]) : BinaryPrimitives.ReadInt64LittleEndian(_head[at..]);

        private double Single(int at) => big ? BinaryPrimitives.ReadSingleBigEndian(_head[at..]) : BinaryPrimitives.ReadSingleLittleEndian(_head[at..]);

        private double Double(int at) => big ? BinaryPrimitives.ReadDoubleBigEndian(_head[at..]) : BinaryPrimitives.ReadDoubleLittleEndian(_head[at..]);
    }
}
