using System.Runtime.CompilerServices;
using System.Runtime.InteropServices;
using System.Runtime.Intrinsics;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Cloud;

/// <summary>Signed distance to the surface through oriented points, at the grid nodes near them.</summary>
/// <remarks>
/// Method: a sphere is fitted at each node to the points around it and their directions, and the node's distance to it is taken:
///   Guennebaud and Gross, "Algebraic point set surfaces", ACM TOG 26 (SIGGRAPH 2007), with the closed form for oriented points of
///   Guennebaud, Germann, Gross, "Dynamic sampling and rendering of algebraic point set surfaces", CGF 27, 2008 (both from
///   memory). With the sphere's curvature left out this is the weighted mean of signed distances to tangent planes (Hoppe et al. 1992; Kolluri,
///   "Provably good moving least squares", ACM TALG 4, 2008), which shrinks hollows and swells bumps by h² / (12 R); the sphere does not.
/// Weight of a point at distance d: (1 − d²/h²)⁴ · max(0, n·m)², where h grows from the smoothing distance to the grid's reach as the nearest
///   point goes from half the smoothing distance away to all of it, and m is the direction of the point nearest to the node: the other side
///   of a thin wall, and to some degree the other side of an edge, does not count. That is the idea of Öztireli, Guennebaud, Gross,
///   "Feature preserving point set surfaces based on non-linear kernel regression", CGF 28, 2009, in one step instead of iterations.
/// Shapes: 512 float32 a block of <see cref="BlockGrid"/>, x fastest, in mm, positive outside; NaN where no point is within reach.
/// How it is done: every block gathers from the 27 blocks of points around it, nearer ones first, eight nodes of a row at a time; blocks are
///   independent of each other, so the values are the same on any number of threads.
/// Cost: 4 µs a point and core for h = 4 cells. Memory: 2 kB a block.
/// </remarks>
internal sealed class SignedField
{
    private const int BlocksPerPiece = 16;
    private const int Edge = BlockGrid.Edge;
    private const int Rows = Edge * Edge;

    // A sphere smaller than this part of the reach is noise, not shape.
    private const float LeastRadiusOfReach = 0.25f;

    // The block itself, then those beside it, nearer ones first.
    private static readonly (int X, int Y, int Z)[] s_around = [.. Enumerable.Range(0, 27)
        .Select(n => (X: (n % 3) - 1, Y: (n / 3 % 3) - 1, Z: (n / 9) - 1))
        .OrderBy(b => Math.Abs(b.X) + Math.Abs(b.Y) + Math.Abs(b.Z))];

    private readonly float[][] _values;

    private SignedField(BlockGrid grid, float[][] values)
    {
        Grid = grid;
        _values = values;
    }

    internal BlockGrid Grid { get; }

    /// <summary>Values of a block; empty when all its nodes are out of reach.</summary>
    internal float[] Block(int block) => _values[block];

    internal static SignedField Evaluate(BlockGrid grid, double smoothingMm, double noiseMm, RunContext run, Action<double> progress)
    {
        var values = new float[grid.Count][];
        Partition.Ranges(run, grid.Count, BlocksPerPiece, (piece, from, to) =>
        {
            var work = new BlockWork(grid, smoothingMm, noiseMm);
            for (var b = from; b < to; b++)
                values[b] = work.Evaluate(grid.At(b));
            progress((double)to / grid.Count);
        });
        return new(grid, values);
    }

    /// <summary>
    /// Distance at a place relative to the cloud's origin: value over slope, both linear between nodes (Taubin, "Estimation of planar curves,
    /// surfaces, and nonplanar space curves", IEEE PAMI 13, 1991). Points near a node draw its sphere towards them, so the values alone are
    /// too small. NaN where one of the eight nodes around has none.
    /// </summary>
    internal float Between(float x, float y, float z)
    {
        double cx = x / Grid.CellMm, cy = y / Grid.CellMm, cz = z / Grid.CellMm;
        double fx = Math.Floor(cx), fy = Math.Floor(cy), fz = Math.Floor(cz);
        double value = 0, slopeX = 0, slopeY = 0, slopeZ = 0;
        for (var corner = 0; corner < 8; corner++)
        {
            var (wx, sx) = (corner & 1) == 0 ? (1 - (cx - fx), -1) : (cx - fx, 1);
            var (wy, sy) = (corner & 2) == 0 ? (1 - (cy - fy), -1) : (cy - fy, 1);
            var (wz, sz) = (corner & 4) == 0 ? (1 - (cz - fz), -1) : (cz - fz, 1);
            double node = Node((long)fx + (corner & 1), (long)fy + (corner >> 1 & 1), (long)fz + (corner >> 2));
            value += wx * wy * wz * node;
            slopeX += sx * wy * wz * node;
            slopeY += wx * sy * wz * node;
            slopeZ += wx * wy * sz * node;
        }

        return (float)(value * Grid.CellMm / Math.Sqrt((slopeX * slopeX) + (slopeY * slopeY) + (slopeZ * slopeZ)));
    }

    private float Node(long x, long y, long z)
    {
        const int shift = 3, mask = Edge - 1;
        var block = Grid.Find((int)(x >> shift), (int)(y >> shift), (int)(z >> shift));
        if (block < 0 || _values[block].Length == 0)
            return float.NaN;
        return _values[block][(((z & mask) * Edge) + (y & mask)) * Edge + (x & mask)];
    }

    /// <summary>One block at a time, in units of a cell and relative to the block's first node.</summary>
    private sealed unsafe class BlockWork
    {
        private readonly BlockGrid _grid;
        private readonly double _perCell;
        private readonly float _reach;
        private readonly float _smoothing;
        private readonly float _band;

        // By row of eight nodes, so that what is used together lies together: squared distance to the nearest point, and which it is; its
        // direction x, y, z and one over the squared reach; the nine sums.
        private readonly float[] _nearest = Buffer<float>(2 * Edge * Rows);
        private readonly float[] _frames = Buffer<float>(4 * Edge * Rows);
        private readonly float[] _sums = Buffer<float>(9 * Edge * Rows);
        private readonly float[] _rowReach = Buffer<float>(Rows);
        private readonly float[] _plane = new float[BlockGrid.Nodes];
        private int _bx, _by, _bz;

        public BlockWork(BlockGrid grid, double smoothingMm, double noiseMm)
        {
            _grid = grid;
            _perCell = 1 / grid.CellMm;
            _reach = (float)(grid.ReachMm / grid.CellMm);
            _smoothing = (float)(smoothingMm / grid.CellMm);

            // A vertex lies within a cell of both its nodes, and the nearest point may be off the surface by its noise: a node farther off
            // that point's plane has the right sign by it, and its value is not needed.
            _band = (float)(1.25 + (4 * noiseMm / grid.CellMm));
        }

        public float[] Evaluate((int X, int Y, int Z) at)
        {
            (_bx, _by, _bz) = at;
            FindNearest();
            if (!Prepare())
                return [];
            AddUp();
            return Solve();
        }

        private static T[] Buffer<T>(int length) => GC.AllocateArray<T>(length, pinned: true);

        // The buffers are pinned, so their addresses stay.
        private static float* Address(float[] pinned) => (float*)Unsafe.AsPointer(ref MemoryMarshal.GetArrayDataReference(pinned));

        private void FindNearest()
        {
            float* nearest = Address(_nearest), rowReach = Address(_rowReach);
            var none = Vector256.Create(_reach * _reach);
            for (var row = 0; row < Rows; row++)
            {
                none.Store(nearest + (2 * Edge * row));
                Vector256.Create(-1).Store((int*)(nearest + (2 * Edge * row) + Edge));
            }

            var points = _grid.Points;
            foreach (var (dx, dy, dz) in s_around)
            {
                var (from, to) = _grid.PointsIn(_bx + dx, _by + dy, _bz + dz);
                if (from == to)
                    continue;
                // Once near points are known, farther ones have nothing to say to most rows.
                var farthest = 0f;
                for (var row = 0; row < Rows; row++)
                {
                    rowReach[row] = Largest(Vector256.Load(nearest + (2 * Edge * row)));
                    farthest = Math.Max(farthest, rowReach[row]);
                }

                for (var p = from; p < to; p++)
                {
                    var (x, y, z) = Local(points, p);
                    var rows = new RowRange(x, y, z, farthest);
                    var number = Vector256.Create(p);
                    var offX = Vector256<float>.Indices - Vector256.Create(x);
                    var squaredX = offX * offX;
                    for (var k = rows.FirstLayer; k <= rows.LastLayer; k++)
                    {
                        rows.Enter(k, y, z);
                        for (var j = rows.First; j <= rows.Last; j++)
                        {
                            var off = rows.Squared(j, y);
                            if (off + rows.BesideX >= rowReach[(Edge * k) + j])
                                continue;
                            var row = nearest + (2 * Edge * ((Edge * k) + j));
                            var squared = squaredX + Vector256.Create(off);
                            var before = Vector256.Load(row);
                            var closer = Vector256.LessThan(squared, before);
                            Vector256.ConditionalSelect(closer, squared, before).Store(row);
                            Vector256.ConditionalSelect(closer.AsInt32(), number, Vector256.Load((int*)(row + Edge))).Store((int*)(row + Edge));
                        }
                    }
                }
            }
        }

        private static float Largest(Vector256<float> eight)
        {
            var pairs = Vector128.Max(eight.GetLower(), eight.GetUpper());
            return Math.Max(Math.Max(pairs[0], pairs[1]), Math.Max(pairs[2], pairs[3]));
        }

        /// <summary>Direction and reach of each node from its nearest point; nodes off the surface keep the distance to that point's plane.</summary>
        private bool Prepare()
        {
            var any = false;
            var points = _grid.Points;
            Array.Clear(_rowReach);
            for (var node = 0; node < BlockGrid.Nodes; node++)
            {
                var nearest = _nearest.AsSpan((node / Edge * 2 * Edge) + (node % Edge));
                var p = BitConverter.SingleToInt32Bits(nearest[Edge]);
                var frame = _frames.AsSpan((node / Edge * 4 * Edge) + (node % Edge));
                frame[3 * Edge] = float.PositiveInfinity;
                if (p < 0)
                {
                    _plane[node] = float.NaN;
                    continue;
                }

                any = true;
                float nx = points.NormalX[p], ny = points.NormalY[p], nz = points.NormalZ[p];
                (frame[0], frame[Edge], frame[2 * Edge]) = (nx, ny, nz);
                var (x, y, z) = Local(points, p);
                _plane[node] = (((node % Edge) - x) * nx) + (((node / Edge % Edge) - y) * ny) + (((node / (Edge * Edge)) - z) * nz);
                if (Math.Abs(_plane[node]) > _band)
                    continue;
                var reach = ReachAt(MathF.Sqrt(nearest[0]));
                frame[3 * Edge] = 1 / (reach * reach);
                ref var row = ref _rowReach[node / Edge];
                row = Math.Max(row, reach * reach);
            }

            return any;
        }

        // Wider where the nearest point is far, so that gaps are crossed smoothly: from the smoothing distance up to the full reach.
        private float ReachAt(float nearest)
        {
            var t = Math.Clamp((2 * nearest / _smoothing) - 1, 0, 1);
            return _smoothing + ((_reach - _smoothing) * t * t * (3 - (2 * t)));
        }

        private (float X, float Y, float Z) Local(OrientedPoints points, int p) => (
            (float)((points.X[p] * _perCell) - (_bx * (double)Edge)),
            (float)((points.Y[p] * _perCell) - (_by * (double)Edge)),
            (float)((points.Z[p] * _perCell) - (_bz * (double)Edge)));

        private void AddUp()
        {
            Array.Clear(_sums);
            float* frames = Address(_frames), sums = Address(_sums), rowReach = Address(_rowReach);
            var farthest = 0f;
            for (var row = 0; row < Rows; row++)
                farthest = Math.Max(farthest, rowReach[row]);
            if (farthest == 0)
                return;
            var points = _grid.Points;
            foreach (var (dx, dy, dz) in s_around)
            {
                var (from, to) = _grid.PointsIn(_bx + dx, _by + dy, _bz + dz);
                for (var p = from; p < to; p++)
                {
                    var (x, y, z) = Local(points, p);
                    var rows = new RowRange(x, y, z, farthest);
                    Vector256<float> nx = Vector256.Create(points.NormalX[p]), ny = Vector256.Create(points.NormalY[p]), nz = Vector256.Create(points.NormalZ[p]);
                    var offX = Vector256.Create(x) - Vector256<float>.Indices;
                    Vector256<float> squaredX = offX * offX, alongX = offX * nx;
                    for (var k = rows.FirstLayer; k <= rows.LastLayer; k++)
                    {
                        rows.Enter(k, y, z);
                        for (var j = rows.First; j <= rows.Last; j++)
                        {
                            var off = rows.Squared(j, y);
                            if (off + rows.BesideX >= rowReach[(Edge * k) + j])
                                continue;
                            var frame = frames + (4 * Edge * ((Edge * k) + j));
                            var sum = sums + (9 * Edge * ((Edge * k) + j));
                            var squared = squaredX + Vector256.Create(off);
                            var near = Vector256.Max(Vector256<float>.Zero, Vector256<float>.One - (squared * Vector256.Load(frame + (3 * Edge))));
                            var facing = (Vector256.Load(frame) * nx) + (Vector256.Load(frame + Edge) * ny) + (Vector256.Load(frame + (2 * Edge)) * nz);
                            // ((1 − d²/h²)² · cos)², without the ones that look the other way.
                            var w = near * near * Vector256.Max(Vector256<float>.Zero, facing);
                            w *= w;
                            Vector256<float> offY = Vector256.Create(y - j), offZ = Vector256.Create(z - k);
                            Add(sum, w);
                            Add(sum + Edge, w * offX);
                            Add(sum + (2 * Edge), w * offY);
                            Add(sum + (3 * Edge), w * offZ);
                            Add(sum + (4 * Edge), w * nx);
                            Add(sum + (5 * Edge), w * ny);
                            Add(sum + (6 * Edge), w * nz);
                            Add(sum + (7 * Edge), w * (alongX + (offY * ny) + (offZ * nz)));
                            Add(sum + (8 * Edge), w * squared);
                        }
                    }
                }
            }
        }

        [MethodImpl(MethodImplOptions.AggressiveInlining)]
        private static void Add(float* sum, Vector256<float> more) => (Vector256.Load(sum) + more).Store(sum);

        private float[] Solve()
        {
            var values = new float[BlockGrid.Nodes];
            for (var node = 0; node < values.Length; node++)
            {
                var perReach = _frames[(node / Edge * 4 * Edge) + (3 * Edge) + (node % Edge)];
                var distance = float.IsInfinity(perReach) ? double.NaN : Distance(_sums.AsSpan((node / Edge * 9 * Edge) + (node % Edge)), Math.Sqrt(perReach) / (2 * LeastRadiusOfReach));
                values[node] = (float)((double.IsNaN(distance) ? _plane[node] : distance) * _grid.CellMm);
            }

            return values;
        }

        /// <summary>From the sums at a node, with the node as origin.</summary>
        private static double Distance(ReadOnlySpan<float> sums, double mostCurved)
        {
            double w = sums[0];
            if (!(w > 1e-12))
                return double.NaN;
            double qx = sums[Edge] / w, qy = sums[2 * Edge] / w, qz = sums[3 * Edge] / w;
            double nx = sums[4 * Edge] / w, ny = sums[5 * Edge] / w, nz = sums[6 * Edge] / w;
            double qn = sums[7 * Edge] / w, qq = sums[8 * Edge] / w;
            var spread = qq - ((qx * qx) + (qy * qy) + (qz * qz));
            // Sphere u0 + u·x + c x²; all of its directions are right when c = 0.
            var c = spread > 1e-4 * qq ? 0.5 * (qn - ((qx * nx) + (qy * ny) + (qz * nz))) / spread : 0;
            var length = Math.Sqrt((nx * nx) + (ny * ny) + (nz * nz));
            c = Math.Clamp(c, -mostCurved * length, mostCurved * length);
            double ux = nx - (2 * c * qx), uy = ny - (2 * c * qy), uz = nz - (2 * c * qz);
            var u0 = -((ux * qx) + (uy * qy) + (uz * qz)) - (c * qq);
            var norm = (ux * ux) + (uy * uy) + (uz * uz) - (4 * u0 * c);
            if (!(norm > 1e-3 * length * length))
                return length > 1e-6 ? -((nx * qx) + (ny * qy) + (nz * qz)) / length : double.NaN;
            norm = Math.Sqrt(norm);
            u0 /= norm;
            c /= norm;
            return 2 * u0 / (1 + Math.Sqrt(Math.Max(0, 1 + (4 * c * u0))));
        }
    }

    /// <summary>The rows of a block that a ball around a point reaches.</summary>
    private ref struct RowRange
    {
        private readonly float _left;
        private float _offZ;

        public RowRange(float x, float y, float z, float squaredRadius)
        {
            var beside = Math.Max(0, Math.Max(-x, x - (Edge - 1)));
            BesideX = beside * beside;
            _left = squaredRadius - BesideX;
            var half = _left > 0 ? MathF.Sqrt(_left) : -1;
            (FirstLayer, LastLayer) = half < 0 || y + half < 0 || y - half > Edge - 1 ? (0, -1) : Within(z, half);
        }

        public readonly int FirstLayer { get; }

        public readonly int LastLayer { get; }

        public int First { get; private set; }

        public int Last { get; private set; }

        /// <summary>Squared distance along x to the nearest node of any row.</summary>
        public readonly float BesideX { get; }

        public void Enter(int layer, float y, float z)
        {
            _offZ = (layer - z) * (layer - z);
            var left = _left - _offZ;
            (First, Last) = left > 0 ? Within(y, MathF.Sqrt(left)) : (0, -1);
        }

        /// <summary>Squared distance to a row's line.</summary>
        public readonly float Squared(int row, float y) => ((row - y) * (row - y)) + _offZ;

        private static (int First, int Last) Within(float center, float half) =>
            (Math.Max(0, (int)MathF.Ceiling(center - half)), Math.Min(Edge - 1, (int)MathF.Floor(center + half)));
    }
}
