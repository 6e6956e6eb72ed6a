using System.Globalization;
using System.Numerics;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Walls;

/// <summary>Samples of a field on those blocks of a regular grid that the boundary of its region can pass through.</summary>
/// <remarks>
/// Method: from one cube around everything down to blocks of 8³ samples, a cube goes when the field says at its centre that no
///   boundary is as near as its corners: the narrow band of D. Adalsteinsson and J. A. Sethian, "A Fast Level Set Method for
///   Propagating Interfaces", J. Comput. Phys. 118 (1995), found by the Lipschitz bound of the distance instead of by marching;
///   blocks as in K. Museth, "VDB: High-Resolution Sparse Volumes with Dynamic Topology", ACM TOG 32(3) (2013), with one level
///   and a hash of block numbers. Both from memory.
/// Every cell with a corner in the region and a corner out of it has all its corners in sampled blocks: where neighbours of a
/// missing block disagree about it, it is sampled after all.
/// Layout: block b holds samples [512·b, 512·b + 512), x fastest; a float coordinate and a <see cref="Bound"/> each.
/// Within a block the same bound saves most samples: one value at the centre of a cube of them stands for all.
/// Cost: one search for a nearest point for each sample within two cells of the boundary, and one for eight, 64 … of the others. Memory: 2,860 bytes a block, asked for before it is taken.
/// Same bytes on any number of threads.
/// </remarks>
internal sealed class SparseGrid : IDisposable
{
    public const int Side = 8;
    public const int BlockSamples = Side * Side * Side;

    /// <summary>Samples, crossing marks and tables of one block.</summary>
    public const long BlockBytes = (BlockSamples * 5) + 300;

    /// <summary>More is refused on any machine, so that what runs on one runs on all.</summary>
    public const long MostBytes = 6_000_000_000;

    // Half the diagonal of a cube of side 1; also, doubled, how far the corners of the cells at a sample are from it.
    private static readonly double HalfDiagonal = Math.Sqrt(3) / 2;

    // Samples beyond the region on every side, so that all of its boundary is between samples.
    private const double MarginCells = 3;
    private const int PieceBlocks = 16;
    private const int PieceCubes = 64;

    private readonly List<(int X, int Y, int Z)> _blocks = [];
    private readonly Dictionary<(int X, int Y, int Z), int> _numbers = [];

    private SparseGrid(Vec3 origin, double cellMm)
    {
        Origin = origin;
        CellMm = cellMm;
        Coordinates = new NativeBuffer<float>(0);
        Bounds = new NativeBuffer<Bound>(0);
    }

    /// <summary>Position of sample (0, 0, 0) in the surface's own frame.</summary>
    public Vec3 Origin { get; }

    public double CellMm { get; }

    public int BlockCount => _blocks.Count;

    public NativeBuffer<float> Coordinates { get; private set; }

    public NativeBuffer<Bound> Bounds { get; private set; }

    /// <param name="box">Around the region, in the surface's own frame.</param>
    /// <param name="areaMm2">About how much surface the region has; for the memory asked for beforehand.</param>
    /// <exception cref="BadInputException">More memory than the budget or <see cref="MostBytes"/>; asked before it is taken.</exception>
    public static SparseGrid Sample(string step, BandField field, Box3 box, double areaMm2, double cellMm, RunContext run)
    {
        RequireMemory(step, areaMm2, cellMm, run);
        // Off any round number, so that flat surfaces of round coordinates do not run through the samples.
        var origin = box.Min - (new Vec3(2.382, 2.618, 2.146) * cellMm);
        var grid = new SparseGrid(origin, cellMm);
        for (var blocks = FindBlocks(step, field, origin, box.Max, cellMm, run); blocks.Count > 0; blocks = grid.Torn(run))
            grid.Add(step, field, blocks, run);
        return grid;
    }

    public (int X, int Y, int Z) Block(int b) => _blocks[b];

    /// <summary>Number of the block at a place, −1 where there is none.</summary>
    public int BlockAt(int x, int y, int z) => _numbers.TryGetValue((x, y, z), out var b) ? b : -1;

    public Vec3 Position(int i, int j, int k) => Origin + (new Vec3(i, j, k) * CellMm);

    public void Dispose()
    {
        Coordinates.Dispose();
        Bounds.Dispose();
    }

    /// <summary>Peak of the whole step for an area, measured on real sheets: samples, surface, and the search for crossings.</summary>
    public static double PeakBytes(double areaMm2, double cellMm) => 1200 * areaMm2 / (cellMm * cellMm);

    private static void RequireMemory(string step, double areaMm2, double cellMm, RunContext run)
    {
        var bytes = PeakBytes(areaMm2, cellMm);
        var most = Math.Min(MostBytes, run.Memory.LimitBytes);
        if (bytes > most)
            throw TooFine(step, cellMm, FormattableString.Invariant($"about {bytes / 1e9:G3} GB of {most / 1e9:G3} GB"), cellMm * Math.Sqrt(bytes / most) * 1.01);
    }

    private void Add(string step, BandField field, List<(int X, int Y, int Z)> blocks, RunContext run)
    {
        var first = BlockCount;
        foreach (var block in blocks)
        {
            _numbers.Add(block, BlockCount);
            _blocks.Add(block);
        }

        Coordinates = Grown(Coordinates, (long)BlockSamples * BlockCount);
        Bounds = Grown(Bounds, (long)BlockSamples * BlockCount);
        var pieces = Partition.Pieces(blocks.Count, PieceBlocks);
        var done = 0;
        Partition.Ranges(run, blocks.Count, PieceBlocks, (_, from, to) =>
        {
            SampleBlocks(field, first + from, first + to);
            if ((Interlocked.Increment(ref done) & 63) == 0)
                run.Report(step, "distances", (double)done / pieces);
        });
    }

    private static unsafe NativeBuffer<T> Grown<T>(NativeBuffer<T> old, long length)
        where T : unmanaged
    {
        var grown = new NativeBuffer<T>(length);
        Buffer.MemoryCopy(old.Pointer, grown.Pointer, grown.Bytes, old.Bytes);
        old.Dispose();
        return grown;
    }

    /// <summary>
    /// Missing blocks whose neighbours disagree about them: where the coordinate jumps, the bound that left them out does not hold.
    /// </summary>
    private List<(int X, int Y, int Z)> Torn(RunContext run)
    {
        var found = new List<((int X, int Y, int Z) Place, bool AnyIn, bool AnyOut)>[Partition.Pieces(BlockCount, PieceCubes)];
        Partition.Ranges(run, BlockCount, PieceCubes, (piece, from, to) =>
        {
            var mine = found[piece] = [];
            for (var b = from; b < to; b++)
                for (var direction = 0; direction < 27; direction++)
                {
                    var (dx, dy, dz) = ((direction % 3) - 1, (direction / 3 % 3) - 1, (direction / 9) - 1);
                    var place = (_blocks[b].X + dx, _blocks[b].Y + dy, _blocks[b].Z + dz);
                    if (_numbers.ContainsKey(place))
                        continue;
                    var (anyIn, anyOut) = Facing(b, dx, dy, dz);
                    mine.Add((place, anyIn, anyOut));
                }
        });
        var seen = new Dictionary<(int X, int Y, int Z), (bool AnyIn, bool AnyOut)>();
        foreach (var (place, anyIn, anyOut) in found.SelectMany(f => f))
        {
            var before = seen.GetValueOrDefault(place);
            seen[place] = (before.AnyIn | anyIn, before.AnyOut | anyOut);
        }

        return [.. seen.Where(s => s.Value.AnyIn && s.Value.AnyOut).Select(s => s.Key).Order()];
    }

    /// <summary>What the samples of a block say that lie beside its neighbour in a direction.</summary>
    private unsafe (bool AnyIn, bool AnyOut) Facing(int b, int dx, int dy, int dz)
    {
        bool anyIn = false, anyOut = false;
        var bounds = Bounds.Pointer + ((long)BlockSamples * b);
        for (var z = dz > 0 ? Side - 1 : 0; z < (dz < 0 ? 1 : Side); z++)
            for (var y = dy > 0 ? Side - 1 : 0; y < (dy < 0 ? 1 : Side); y++)
                for (var x = dx > 0 ? Side - 1 : 0; x < (dx < 0 ? 1 : Side); x++)
                {
                    var inside = bounds[(((z * Side) + y) * Side) + x] == Bound.Inside;
                    anyIn |= inside;
                    anyOut |= !inside;
                }

        return (anyIn, anyOut);
    }

    private static List<(int X, int Y, int Z)> FindBlocks(string step, BandField field, Vec3 origin, Vec3 max, double cellMm, RunContext run)
    {
        var size = max - origin;
        var samples = (Math.Max(size.X, Math.Max(size.Y, size.Z)) / cellMm) + MarginCells;
        if (!(samples < 1 << 20))
            throw TooFine(step, cellMm, FormattableString.Invariant($"{samples:E1} cells along one side"), samples / (1 << 19) * cellMm);
        var level = BitOperations.Log2(BitOperations.RoundUpToPowerOf2((uint)Math.Ceiling(samples / Side)));
        var cubes = new List<(int X, int Y, int Z)> { (0, 0, 0) };
        for (; level > 0; level--)
        {
            run.ThrowIfCancelled();
            cubes = Divide(field, origin, cellMm, cubes, 1 << (level - 1), run);

            // A surface that meets a cube meets at least one of its parts, usually four.
            var bytes = BlockBytes * cubes.Count;
            if (bytes > MostBytes)
                throw TooFine(step, cellMm, FormattableString.Invariant($"more than {bytes / 1e9:F1} GB of samples"), cellMm * 2);
            run.Memory.Require(step, bytes, Remedy(cellMm * 2));
        }

        return cubes;
    }

    private static BadInputException TooFine(string step, double cellMm, string needs, double betterMm) => new(
        step, "cellMm", string.Create(CultureInfo.InvariantCulture, $"{cellMm:G4} mm needs {needs}"), Remedy(betterMm));

    private static string Remedy(double cellMm) => string.Create(CultureInfo.InvariantCulture, $"Give a larger cellMm, such as {cellMm:G3}.");

    /// <summary>The eighths of cubes that the boundary may pass through, in the order of their cubes.</summary>
    /// <param name="blocks">Blocks along the side of an eighth.</param>
    private static List<(int X, int Y, int Z)> Divide(BandField field, Vec3 origin, double cellMm, List<(int X, int Y, int Z)> cubes, int blocks, RunContext run)
    {
        var samples = Side * blocks;

        // Nothing passes through the cells at any sample of the cube.
        var radius = (samples - 1 + 2) * HalfDiagonal * cellMm;
        var kept = new List<(int X, int Y, int Z)>[Partition.Pieces(cubes.Count, PieceCubes)];
        Partition.Ranges(run, cubes.Count, PieceCubes, (piece, from, to) =>
        {
            var mine = new List<(int X, int Y, int Z)>();
            var near = new Neighbours();
            for (var c = from; c < to; c++)
                for (var part = 0; part < 8; part++)
                {
                    var (x, y, z) = ((2 * cubes[c].X) + (part & 1), (2 * cubes[c].Y) + ((part >> 1) & 1), (2 * cubes[c].Z) + (part >> 2));
                    var center = origin + (((new Vec3(x, y, z) * samples) + (new Vec3(0.5, 0.5, 0.5) * (samples - 1))) * cellMm);
                    if (field.At(center, field.RimMm(center), ref near).SafeMm <= radius)
                        mine.Add((x, y, z));
                }

            kept[piece] = mine;
        });
        return [.. kept.SelectMany(k => k)];
    }

    private unsafe void SampleBlocks(BandField field, int from, int to)
    {
        var near = new Neighbours();
        for (var b = from; b < to; b++)
        {
            var (bx, by, bz) = _blocks[b];
            var block = new BlockWriter(
                field,
                Position(Side * bx, Side * by, Side * bz),
                CellMm,
                Coordinates.Pointer + ((long)BlockSamples * b),
                Bounds.Pointer + ((long)BlockSamples * b));
            block.Fill(0, 0, 0, Side, ref near);
        }
    }

    /// <summary>Samples a block part by part: where no boundary is near a part, one value at its centre stands for all of it.</summary>
    private readonly unsafe struct BlockWriter
    {
        private readonly BandField _field;
        private readonly Vec3 _corner;
        private readonly double _cellMm;
        private readonly double _rimMm;
        private readonly float* _coordinates;
        private readonly Bound* _bounds;

        public BlockWriter(BandField field, Vec3 corner, double cellMm, float* coordinates, Bound* bounds)
        {
            _field = field;
            _corner = corner;
            _cellMm = cellMm;
            _coordinates = coordinates;
            _bounds = bounds;
            _rimMm = Math.Max(0, field.RimMm(Center(0, 0, 0, Side)) - (Side * cellMm));
        }

        public void Fill(int x, int y, int z, int side, ref Neighbours near)
        {
            var sample = _field.At(Center(x, y, z, side), _rimMm, ref near);
            if (side == 1)
            {
                Set(x, y, z, sample);
                return;
            }

            // Every sample of the part and its neighbours one cell away lie on the side of the centre.
            if (sample.SafeMm > (((side - 1) * HalfDiagonal) + 1) * _cellMm)
            {
                for (var k = z; k < z + side; k++)
                    for (var j = y; j < y + side; j++)
                        for (var i = x; i < x + side; i++)
                            Set(i, j, k, sample);
                return;
            }

            var half = side / 2;
            for (var part = 0; part < 8; part++)
                Fill(x + (half * (part & 1)), y + (half * ((part >> 1) & 1)), z + (half * (part >> 2)), half, ref near);
        }

        private Vec3 Center(int x, int y, int z, int side)
        {
            var middle = 0.5 * (side - 1);
            return _corner + (new Vec3(x + middle, y + middle, z + middle) * _cellMm);
        }

        private void Set(int x, int y, int z, in FieldSample sample)
        {
            var at = (((z * Side) + y) * Side) + x;
            _coordinates[at] = (float)sample.CoordinateMm;
            _bounds[at] = sample.Bound;
        }
    }
}
