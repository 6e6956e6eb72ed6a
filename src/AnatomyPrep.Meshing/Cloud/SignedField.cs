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
/// Cost: 0.3 to 0.6 µs a point and core for h = 4 cells. Memory: 2 kB a block.
/// </remarks>
internal sealed class SignedField
{
    private const int BlocksPerPiece = 16;
    private const int Edge = BlockGrid.Edge;
    private const int FrameRow = 4 * Edge;
    private const int SumRow = 9 * Edge;

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
    private sealed class BlockWork(BlockGrid grid, double smoothingMm, double noiseMm)
    {
        private readonly float[] _nearest = new float[BlockGrid.Nodes];
        private readonly int[] _nearestPoint = new int[BlockGrid.Nodes];
        // By row of eight nodes, so that what is used together lies together: direction x, y, z and one over the squared reach;
        // and the nine sums.
        private readonly float[] _frames = new float[FrameRow * BlockGrid.Nodes / Edge];
        private readonly float[] _sums = new float[SumRow * BlockGrid.Nodes / Edge];
        private readonly float[] _rowReach = new float[BlockGrid.Nodes / Edge];
        private readonly float[] _plane = new float[BlockGrid.Nodes];
        private readonly double _perCell = 1 / grid.CellMm;
        private readonly float _reach = (float)(grid.ReachMm / grid.CellMm);
        private readonly float _smoothing = (float)(smoothingMm / grid.CellMm);

        // A cell has a corner so far off the plane of the point nearest to it only when the surface does not pass through.
        private readonly float _band = (float)Math.Max(2 * Math.Sqrt(3), Math.Sqrt(3) + (4 * noiseMm / grid.CellMm));
        private int _bx, _by, _bz;

        private OrientedPoints Points => grid.Points;

        public float[] Evaluate((int X, int Y, int Z) at)
        {
            (_bx, _by, _bz) = at;
            Array.Fill(_nearest, _reach * _reach);
            Array.Fill(_nearestPoint, -1);
            ForEachRow(new FindNearest(this));
            if (!Prepare())
                return [];
            Array.Clear(_sums);
            ForEachRow(new AddUp(this));
            return Solve();
        }

        /// <summary>Direction and reach of each node from its nearest point; nodes off the surface keep the distance to that point's plane.</summary>
        private bool Prepare()
        {
            var any = false;
            var points = Points;
            Array.Clear(_rowReach);
            for (var node = 0; node < BlockGrid.Nodes; node++)
            {
                var p = _nearestPoint[node];
                var frame = _frames.AsSpan((node / Edge * FrameRow) + (node % Edge));
                frame[3 * Edge] = float.PositiveInfinity;
                if (p < 0)
                {
                    _plane[node] = float.NaN;
                    continue;
                }

                any = true;
                float nx = points.NormalX[p], ny = points.NormalY[p], nz = points.NormalZ[p];
                (frame[0], frame[Edge], frame[2 * Edge]) = (nx, ny, nz);
                var (x, y, z) = Local(p);
                _plane[node] = (((node % Edge) - x) * nx) + (((node / Edge % Edge) - y) * ny) + (((node / (Edge * Edge)) - z) * nz);
                if (Math.Abs(_plane[node]) > _band)
                    continue;
                var reach = ReachAt(MathF.Sqrt(_nearest[node]));
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

        private (float X, float Y, float Z) Local(int p) => (
            (float)((Points.X[p] * _perCell) - (_bx * (double)Edge)),
            (float)((Points.Y[p] * _perCell) - (_by * (double)Edge)),
            (float)((Points.Z[p] * _perCell) - (_bz * (double)Edge)));

        private void ForEachRow<T>(T row)
            where T : struct, IRow
        {
            foreach (var (dx, dy, dz) in s_around)
            {
                var (from, to) = grid.PointsIn(_bx + dx, _by + dy, _bz + dz);
                if (from == to)
                    continue;
                row.Begin();
                var farthest = 0f;
                foreach (var reach in _rowReach)
                    farthest = Math.Max(farthest, reach);
                for (var p = from; p < to && farthest > 0; p++)
                {
                    var (x, y, z) = Local(p);
                    RowsOf(p, x, y, z, farthest, ref row);
                }
            }
        }

        private void RowsOf<T>(int p, float x, float y, float z, float farthest, ref T row)
            where T : struct, IRow
        {
            const int last = Edge - 1;
            var besideX = Math.Max(0, Math.Max(-x, x - last));
            var left = farthest - (besideX * besideX);
            if (left < 0)
                return;
            var half = MathF.Sqrt(left);
            int z0 = Math.Max(0, (int)MathF.Ceiling(z - half)), z1 = Math.Min(last, (int)MathF.Floor(z + half));
            for (var k = z0; k <= z1; k++)
            {
                var offZ = k - z;
                var inLayer = left - (offZ * offZ);
                if (inLayer < 0)
                    continue;
                var wide = MathF.Sqrt(inLayer);
                int y0 = Math.Max(0, (int)MathF.Ceiling(y - wide)), y1 = Math.Min(last, (int)MathF.Floor(y + wide));
                for (var j = y0; j <= y1; j++)
                {
                    var offY = j - y;
                    var number = (k * Edge) + j;
                    if ((offY * offY) + (offZ * offZ) + (besideX * besideX) < _rowReach[number])
                        row.Visit(p, Edge * number, x, offY, offZ);
                }
            }
        }

        private float[] Solve()
        {
            var values = new float[BlockGrid.Nodes];
            for (var node = 0; node < values.Length; node++)
            {
                var perReach = _frames[(node / Edge * FrameRow) + (3 * Edge) + (node % Edge)];
                var distance = float.IsInfinity(perReach) ? double.NaN : Distance(_sums.AsSpan((node / Edge * SumRow) + (node % Edge)), Math.Sqrt(perReach) / (2 * LeastRadiusOfReach));
                values[node] = (float)((double.IsNaN(distance) ? _plane[node] : distance) * grid.CellMm);
            }

            return values;
        }

        /// <summary>From the sums at a node, with the node as origin.</summary>
        private static double Distance(ReadOnlySpan<float> sums, double mostCurved)
        {
            const int n = Edge;
            double w = sums[0];
            if (!(w > 1e-12))
                return double.NaN;
            double qx = sums[n] / w, qy = sums[2 * n] / w, qz = sums[3 * n] / w;
            double nx = sums[4 * n] / w, ny = sums[5 * n] / w, nz = sums[6 * n] / w;
            double qn = sums[7 * n] / w, qq = sums[8 * n] / w;
            var spread = qq - ((qx * qx) + (qy * qy) + (qz * qz));
            // Sphere u0 + u·x + c x²; all of its directions are right when c = 0.
            var c = spread > 1e-4 * qq ? 0.5 * (qn - ((qx * nx) + (qy * ny) + (qz * nz))) / spread : 0;
            var length = Math.Sqrt((nx * nx) + (ny * ny) + (nz * nz));
            c = Math.Clamp(c, -mostCurved * length, mostCurved * length);
            double ux = nx - (2 * c * qx), uy = ny - (2 * c * qy), uz = nz - (2 * c * qz);
            var u0 = -((ux * qx) + (uy * qy) + (uz * qz)) - (c * qq);
            var squared = (ux * ux) + (uy * uy) + (uz * uz);
            var norm = squared - (4 * u0 * c);
            if (!(norm > 1e-3 * length * length))
                return length > 1e-6 ? -((nx * qx) + (ny * qy) + (nz * qz)) / length : double.NaN;
            norm = Math.Sqrt(norm);
            u0 /= norm;
            c /= norm;
            return 2 * u0 / (1 + Math.Sqrt(Math.Max(0, 1 + (4 * c * u0))));
        }

        /// <summary>What a point does to a row of nodes.</summary>
        private interface IRow
        {
            /// <summary>Called before the points of each block around.</summary>
            void Begin();

            /// <param name="first">Number of the row's first node in the block.</param>
            /// <param name="x">Of the point, from the row's first node.</param>
            /// <param name="offY">From the point to the row.</param>
            void Visit(int p, int first, float x, float offY, float offZ);
        }

        private readonly struct FindNearest(BlockWork work) : IRow
        {
            // Once near points are known, farther ones have nothing to say to most rows.
            public void Begin()
            {
                for (var row = 0; row < work._rowReach.Length; row++)
                {
                    var nearest = Vector256.LoadUnsafe(ref work._nearest[row * Edge]);
                    var pairs = Vector128.Max(nearest.GetLower(), nearest.GetUpper());
                    work._rowReach[row] = Math.Max(Math.Max(pairs[0], pairs[1]), Math.Max(pairs[2], pairs[3]));
                }
            }

            [MethodImpl(MethodImplOptions.AggressiveInlining)]
            public void Visit(int p, int first, float x, float offY, float offZ)
            {
                var dx = Vector256<float>.Indices - Vector256.Create(x);
                var squared = (dx * dx) + Vector256.Create((offY * offY) + (offZ * offZ));
                ref var nearest = ref Unsafe.Add(ref MemoryMarshal.GetArrayDataReference(work._nearest), first);
                ref var point = ref Unsafe.Add(ref MemoryMarshal.GetArrayDataReference(work._nearestPoint), first);
                var before = Vector256.LoadUnsafe(ref nearest);
                var closer = Vector256.LessThan(squared, before);
                Vector256.ConditionalSelect(closer, squared, before).StoreUnsafe(ref nearest);
                Vector256.ConditionalSelect(closer.AsInt32(), Vector256.Create(p), Vector256.LoadUnsafe(ref point)).StoreUnsafe(ref point);
            }
        }

        private readonly struct AddUp(BlockWork work) : IRow
        {
            public void Begin()
            {
            }

            [MethodImpl(MethodImplOptions.AggressiveInlining)]
            public void Visit(int p, int first, float x, float offY, float offZ)
            {
                const int n = Edge;
                var points = work.Points;
                float nx = points.NormalX[p], ny = points.NormalY[p], nz = points.NormalZ[p];
                var dx = Vector256.Create(x) - Vector256<float>.Indices;
                var squared = (dx * dx) + Vector256.Create((offY * offY) + (offZ * offZ));
                ref var frame = ref Unsafe.Add(ref MemoryMarshal.GetArrayDataReference(work._frames), first / Edge * FrameRow);
                var near = Vector256.Max(Vector256<float>.Zero, Vector256<float>.One - (squared * Vector256.LoadUnsafe(ref Unsafe.Add(ref frame, 3 * n))));
                var along = (Vector256.LoadUnsafe(ref frame) * nx) + (Vector256.LoadUnsafe(ref Unsafe.Add(ref frame, n)) * ny) + (Vector256.LoadUnsafe(ref Unsafe.Add(ref frame, 2 * n)) * nz);
                // ((1 − d²/h²)² · cos)², without the ones that look the other way.
                var w = near * near * Vector256.Max(Vector256<float>.Zero, along);
                w *= w;
                ref var sums = ref Unsafe.Add(ref MemoryMarshal.GetArrayDataReference(work._sums), first / Edge * SumRow);
                Vector256<float> wx = w * dx, wnx = w * nx, wny = w * ny, wnz = w * nz;
                Add(ref sums, 0, w);
                Add(ref sums, n, wx);
                Add(ref sums, 2 * n, w * -offY);
                Add(ref sums, 3 * n, w * -offZ);
                Add(ref sums, 4 * n, wnx);
                Add(ref sums, 5 * n, wny);
                Add(ref sums, 6 * n, wnz);
                Add(ref sums, 7 * n, (wnx * dx) - (wny * offY) - (wnz * offZ));
                Add(ref sums, 8 * n, w * squared);
            }

            [MethodImpl(MethodImplOptions.AggressiveInlining)]
            private static void Add(ref float sums, int at, Vector256<float> more)
            {
                ref var sum = ref Unsafe.Add(ref sums, at);
                (Vector256.LoadUnsafe(ref sum) + more).StoreUnsafe(ref sum);
            }
        }
    }
}
