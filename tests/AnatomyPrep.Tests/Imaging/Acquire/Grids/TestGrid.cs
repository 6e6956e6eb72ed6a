using System.Buffers.Binary;
using System.Globalization;
using System.IO.Compression;
using System.Text;
using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Tests.Imaging.Acquire.Grids;

/// <summary>
/// A small volume with a known value at every known place, and writers of it in each format, from the formats' definitions
/// and without any code of the reader.
/// </summary>
/// <param name="IndexToLps">Column, row, slice to LPS, mm.</param>
/// <param name="Stored">Columns fastest.</param>
internal sealed record TestGrid(int Columns, int Rows, int Slices, Affine3 IndexToLps, double[] Stored)
{
    public double Slope { get; init; } = 1;

    public double Intercept { get; init; }

    /// <summary>Every sample another value, CT-like.</summary>
    public static TestGrid Create(int columns, int rows, int slices, Affine3 map)
    {
        var stored = new double[columns * rows * slices];
        for (var i = 0; i < stored.Length; i++)
            stored[i] = -1000 + (i * 7);
        return new(columns, rows, slices, map, stored);
    }

    /// <summary>Turned, moved, with unequal spacing, and mirrored in index space where asked: orthogonal axes, as scanners have.</summary>
    public static Affine3 RandomMap(Random random, bool leftHanded)
    {
        double Next(double low, double high) => low + (random.NextDouble() * (high - low));
        var turn = Affine3.Rotate(new Vec3(Next(-1, 1), Next(-1, 1), Next(-1, 1)), Next(-Math.PI, Math.PI));
        var flip = leftHanded ? -1 : 1;
        return new(turn.X * Next(0.3, 2), turn.Y * Next(0.3, 2), turn.Z * (flip * Next(0.3, 3)), new Vec3(Next(-200, 200), Next(-200, 200), Next(-900, 900)));
    }

    public Vec3 Place(int i, int j, int k) => IndexToLps.Map(new Vec3(i, j, k));

    public double Hu(int i, int j, int k) => (Stored[(((k * Rows) + j) * Columns) + i] * Slope) + Intercept;

    /// <summary>NIfTI: 348 (or 540) bytes of header, RAS, sform, qform or both.</summary>
    public byte[] NiftiHeader(bool second = false, string type = "int16", bool big = false, bool sform = true, bool qform = false, int unit = 2, bool pair = false)
    {
        var head = new byte[second ? 540 : 348];
        var (code, bits) = type switch
        {
            "uint8" => (2, 8),
            "int16" => (4, 16),
            "int32" => (8, 32),
            "float32" => (16, 32),
            "float64" => (64, 64),
            "int8" => (256, 8),
            "uint16" => (512, 16),
            "uint32" => (768, 32),
            "int64" => (1024, 64),
            _ => (1280, 64),
        };
        var put = new Put(head, big);
        put.Int(0, head.Length);
        var scale = unit switch { 1 => 1e-3, 3 => 1e3, _ => 1 };
        long[] dims = [3, Columns, Rows, Slices, 1, 1, 1, 1];
        Vec3 Ras(Vec3 v) => new Vec3(-v.X, -v.Y, v.Z) * scale;
        Vec3 x = Ras(IndexToLps.X), y = Ras(IndexToLps.Y), z = Ras(IndexToLps.Z), o = Ras(IndexToLps.Translation);
        var left = new Affine3(x, y, z, o).Determinant < 0;
        double[] pixdim = [left ? -1 : 1, x.Length, y.Length, z.Length, 0, 0, 0, 0];
        var (b, c, d) = Quaternion(x.Normalized(), y.Normalized(), z.Normalized() * (left ? -1 : 1));
        double[] quatern = [b, c, d, o.X, o.Y, o.Z];
        double[] srow = [x.X, y.X, z.X, o.X, x.Y, y.Y, z.Y, o.Y, x.Z, y.Z, z.Z, o.Z];
        if (second)
        {
            (pair ? "ni2\0\r\n\u001a\n"u8 : "n+2\0\r\n\u001a\n"u8).CopyTo(head.AsSpan(4));
            put.Short(12, code);
            put.Short(14, bits);
            for (var i = 0; i < 8; i++)
            {
                put.Long(16 + (8 * i), dims[i]);
                put.Double(104 + (8 * i), pixdim[i]);
            }

            put.Long(168, pair ? 0 : 544);
            put.Double(176, Slope);
            put.Double(184, Intercept);
            put.Int(344, qform ? 1 : 0);
            put.Int(348, sform ? 1 : 0);
            for (var i = 0; i < 6; i++)
                put.Double(352 + (8 * i), quatern[i]);
            for (var i = 0; i < 12; i++)
                put.Double(400 + (8 * i), srow[i]);
            put.Int(500, unit);
            return head;
        }

        for (var i = 0; i < 8; i++)
        {
            put.Short(40 + (2 * i), (int)dims[i]);
            put.Single(76 + (4 * i), pixdim[i]);
        }

        put.Short(70, code);
        put.Short(72, bits);
        put.Single(108, pair ? 0 : 352);
        put.Single(112, Slope);
        put.Single(116, Intercept);
        head[123] = (byte)unit;
        put.Short(252, qform ? 1 : 0);
        put.Short(254, sform ? 1 : 0);
        for (var i = 0; i < 6; i++)
            put.Single(256 + (4 * i), quatern[i]);
        for (var i = 0; i < 12; i++)
            put.Single(280 + (4 * i), srow[i]);
        (pair ? "ni1\0"u8 : "n+1\0"u8).CopyTo(head.AsSpan(344));
        return head;
    }

    public byte[] Nifti(bool second = false, string type = "int16", bool big = false, bool sform = true, bool qform = false, int unit = 2) =>
        [.. NiftiHeader(second, type, big, sform, qform, unit), 0, 0, 0, 0, .. Samples(type, big)];

    /// <summary>NRRD header; the samples follow it, or stand in <paramref name="dataFile"/>.</summary>
    public byte[] NrrdHeader(string space = "left-posterior-superior", string type = "short", string encoding = "raw", bool big = false, string? dataFile = null, string? more = null)
    {
        var (sx, sy) = space switch { "right-anterior-superior" or "RAS" => (-1, -1), _ => (1, 1) };
        string Of(Vec3 v) => Text($"({v.X * sx:R},{v.Y * sy:R},{v.Z:R})");
        var lines = new List<string>
        {
            "NRRD0004",
            "# a remark",
            $"type: {type}",
            "dimension: 3",
            $"space: {space}",
            Text($"sizes: {Columns} {Rows} {Slices}"),
            $"space directions: {Of(IndexToLps.X)} {Of(IndexToLps.Y)} {Of(IndexToLps.Z)}",
            "kinds: domain domain domain",
            $"endian: {(big ? "big" : "little")}",
            $"encoding: {encoding}",
            $"space origin: {Of(IndexToLps.Translation)}",
            "space units: \"mm\" \"mm\" \"mm\"",
            "someone:=said something",
        };
        if (dataFile is not null)
            lines.Add($"data file: {dataFile}");
        if (more is not null)
            lines.Add(more);
        return Encoding.Latin1.GetBytes(string.Join('\n', lines) + "\n\n");
    }

    /// <summary>MetaImage header; direction of each axis after the other in TransformMatrix.</summary>
    public byte[] MetaHeader(string dataFile = "LOCAL", string type = "MET_SHORT", bool big = false, bool compressed = false, string? orientation = null, bool matrix = true, string? more = null, bool binary = true)
    {
        string Of(Vec3 v) => Text($"{v.X:R} {v.Y:R} {v.Z:R}");
        Vec3 x = IndexToLps.X, y = IndexToLps.Y, z = IndexToLps.Z;
        var lines = new List<string>
        {
            "ObjectType = Image",
            "NDims = 3",
            $"BinaryData = {binary}",
            $"BinaryDataByteOrderMSB = {big}",
            $"CompressedData = {compressed}",
            $"Offset = {Of(IndexToLps.Translation)}",
            Text($"ElementSpacing = {x.Length:R} {y.Length:R} {z.Length:R}"),
            Text($"DimSize = {Columns} {Rows} {Slices}"),
        };
        if (matrix)
            lines.Add($"TransformMatrix = {Of(x.Normalized())} {Of(y.Normalized())} {Of(z.Normalized())}");
        if (orientation is not null)
            lines.Add($"AnatomicalOrientation = {orientation}");
        if (more is not null)
            lines.Add(more);
        lines.Add($"ElementType = {type}");
        lines.Add($"ElementDataFile = {dataFile}");
        return Encoding.Latin1.GetBytes(string.Join('\n', lines) + "\n");
    }

    public byte[] Samples(string type = "int16", bool big = false)
    {
        var size = type switch { "int8" or "uint8" => 1, "int16" or "uint16" => 2, "int32" or "uint32" or "float32" => 4, _ => 8 };
        var bytes = new byte[Stored.Length * size];
        var put = new Put(bytes, big);
        for (var i = 0; i < Stored.Length; i++)
            switch (type)
            {
                case "int8":
                    bytes[i] = (byte)(sbyte)Stored[i];
                    break;
                case "uint8":
                    bytes[i] = (byte)Stored[i];
                    break;
                case "int16":
                    put.Short(2 * i, (int)Stored[i]);
                    break;
                case "uint16":
                    put.Short(2 * i, (short)(ushort)Stored[i]);
                    break;
                case "int32" or "uint32":
                    put.Int(4 * i, (int)Stored[i]);
                    break;
                case "float32":
                    put.Single(4 * i, Stored[i]);
                    break;
                case "int64" or "uint64":
                    put.Long(8 * i, (long)Stored[i]);
                    break;
                default:
                    put.Double(8 * i, Stored[i]);
                    break;
            }

        return bytes;
    }

    public byte[] Numbers() => Encoding.ASCII.GetBytes(string.Join(' ', Stored.Select(s => Text($"{s:R}"))) + "\n");

    public static byte[] Gzip(byte[] bytes) => Pack(bytes, s => new GZipStream(s, CompressionLevel.Fastest));

    public static byte[] Zlib(byte[] bytes) => Pack(bytes, s => new ZLibStream(s, CompressionLevel.Fastest));

    private static byte[] Pack(byte[] bytes, Func<Stream, Stream> packer)
    {
        var packed = new MemoryStream();
        using (var stream = packer(packed))
            stream.Write(bytes);
        return packed.ToArray();
    }

    /// <summary>Of a rotation matrix with these columns: b, c, d with a not negative (Shepperd's choice of the largest part).</summary>
    private static (double B, double C, double D) Quaternion(Vec3 x, Vec3 y, Vec3 z)
    {
        double[] squares = [1 + x.X + y.Y + z.Z, 1 + x.X - y.Y - z.Z, 1 - x.X + y.Y - z.Z, 1 - x.X - y.Y + z.Z];
        var largest = Array.IndexOf(squares, squares.Max());
        var half = Math.Sqrt(squares[largest]) / 2;
        var q = 4 * half;
        var (a, b, c, d) = largest switch
        {
            0 => (half, (y.Z - z.Y) / q, (z.X - x.Z) / q, (x.Y - y.X) / q),
            1 => ((y.Z - z.Y) / q, half, (y.X + x.Y) / q, (z.X + x.Z) / q),
            2 => ((z.X - x.Z) / q, (y.X + x.Y) / q, half, (z.Y + y.Z) / q),
            _ => ((x.Y - y.X) / q, (z.X + x.Z) / q, (z.Y + y.Z) / q, half),
        };
        return a < 0 ? (-b, -c, -d) : (b, c, d);
    }

    private static string Text(FormattableString text) => text.ToString(CultureInfo.InvariantCulture);

    private sealed class Put(byte[] bytes, bool big)
    {
        public void Short(int at, int value)
        {
            BinaryPrimitives.WriteInt16LittleEndian(bytes.AsSpan(at), (short)value);
            Turn(at, 2);
        }

        public void Int(int at, int value)
        {
            BinaryPrimitives.WriteInt32LittleEndian(bytes.AsSpan(at), value);
            Turn(at, 4);
        }

        public void Long(int at, long value)
        {
            BinaryPrimitives.WriteInt64LittleEndian(bytes.AsSpan(at), value);
            Turn(at, 8);
        }

        public void Single(int at, double value) => Int(at, BitConverter.SingleToInt32Bits((float)value));

        public void Double(int at, double value) => Long(at, BitConverter.DoubleToInt64Bits(value));

        private void Turn(int at, int size)
        {
            if (big)
                bytes.AsSpan(at, size).Reverse();
        }
    }
}
