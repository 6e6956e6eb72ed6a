using System.Runtime.InteropServices;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>A welded mesh, and what welding did. No triangle is ever dropped.</summary>
/// <param name="MergedVertices">Vertices that were joined to an earlier one.</param>
/// <param name="LargestMoveMm">How far a joined vertex moved at most.</param>
/// <param name="MeanMoveMm">Mean over the joined vertices.</param>
/// <param name="DegenerateTriangles">Triangles with two corners on one vertex, those that came so included.</param>
public sealed record WeldResult(Mesh Mesh, int MergedVertices, double LargestMoveMm, double MeanMoveMm, int DegenerateTriangles);

/// <summary>Joins vertices that stand for one place. Triangles keep their order, corners and origins.</summary>
public static class VertexWeld
{
    private const int Batch = 1 << 13;

    /// <summary>Joins vertices with equal float32 coordinates (-0 equals 0); the rest keep their order.</summary>
    /// <remarks>Method and cost: <see cref="EqualPoints"/>. Nothing moves. Memory: 20 bytes a vertex over the output.</remarks>
    public static WeldResult Exact(Mesh mesh, RunContext run)
    {
        var (number, positions) = EqualPoints.Find(mesh.PositionArray, run);
        return Rebuilt(mesh, number, positions, 0, 0, run);
    }

    /// <summary>
    /// Joins every vertex to the nearest earlier vertex that was kept and lies no farther than the tolerance away
    /// (of two equally near ones the earlier); a vertex without such a neighbour is kept.
    /// </summary>
    /// <remarks>
    /// Method: one pass in vertex order over a grid of cells four times the tolerance wide: the ball around a vertex
    ///   touches eight cells at most, and three or four on average. Guarantees: no vertex moves farther than the tolerance, however long a chain of close
    ///   neighbours is; any two vertices left lie farther apart than the tolerance, so that doing it again changes nothing.
    /// Cost: O(n), because kept vertices lie apart, so that a cell holds a hundred at most. Memory: about 60 bytes a vertex.
    /// </remarks>
    /// <param name="toleranceMm">At least 1e-9 mm, or 0 for equal positions only.</param>
    public static WeldResult Within(Mesh mesh, double toleranceMm, RunContext run)
    {
        if (toleranceMm == 0)
            return Exact(mesh, run);
        if (!(toleranceMm >= 1e-9) || !double.IsFinite(toleranceMm))
            throw new ArgumentOutOfRangeException(nameof(toleranceMm), toleranceMm, "A weld tolerance is 0, or at least 1e-9 mm.");
        var number = new int[mesh.VertexCount];
        var kept = new KeptVertices(toleranceMm);
        double largest = 0, sum = 0;
        for (var v = 0; v < number.Length; v++)
        {
            if (v % Batch == 0)
                run.ThrowIfCancelled();
            var at = mesh.Local(v);
            var (nearest, distanceMm) = kept.Nearest(at);
            number[v] = nearest >= 0 ? nearest : kept.Add(at);
            largest = Math.Max(largest, distanceMm);
            sum += distanceMm;
        }

        var merged = number.Length - kept.Count;
        return Rebuilt(mesh, number, kept.Positions(), largest, merged == 0 ? 0 : sum / merged, run);
    }

    /// <summary>Triangles with two corners on one vertex.</summary>
    public static int CountDegenerate(Mesh mesh)
    {
        var count = 0;
        for (var t = 0; t < mesh.TriangleCount; t++)
            count += IsDegenerate(mesh.Triangles, t) ? 1 : 0;
        return count;
    }

    /// <summary>The mesh without those triangles; vertices stay, used or not.</summary>
    public static Mesh WithoutDegenerate(Mesh mesh)
    {
        var triangles = new List<int>(mesh.Triangles.Length);
        var origins = new List<Origin>(mesh.TriangleCount);
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            if (IsDegenerate(mesh.Triangles, t))
                continue;
            triangles.AddRange(mesh.Triangles.Slice(3 * t, 3));
            origins.Add(mesh.Origins[t]);
        }

        return new(mesh.OriginMm, mesh.PositionArray, [.. triangles], [.. origins]);
    }

    private static bool IsDegenerate(ReadOnlySpan<int> triangles, int t)
    {
        int a = triangles[3 * t], b = triangles[(3 * t) + 1], c = triangles[(3 * t) + 2];
        return a == b || b == c || c == a;
    }

    private static WeldResult Rebuilt(Mesh mesh, int[] number, float[] positions, double largestMm, double meanMm, RunContext run)
    {
        var triangles = GC.AllocateUninitializedArray<int>(mesh.TriangleArray.Length);
        Partition.Ranges(run, triangles.Length, 3 * Batch, (_, from, to) =>
        {
            for (var h = from; h < to; h++)
                triangles[h] = number[mesh.TriangleArray[h]];
        });
        var welded = new Mesh(mesh.OriginMm, positions, triangles, mesh.OriginArray);
        return new(welded, mesh.VertexCount - welded.VertexCount, largestMm, meanMm, CountDegenerate(welded));
    }

    private readonly record struct Cell(double X, double Y, double Z)
    {
        // Seeded per process, so that no file can make all cells collide; cells are only looked up, never listed.
        public override int GetHashCode() => HashCode.Combine(X, Y, Z);
    }

    // Vertices kept so far: a singly linked list per grid cell, newest first.
    private sealed class KeptVertices(double toleranceMm)
    {
        private readonly Dictionary<Cell, int> _newestInCell = [];
        private readonly List<int> _olderInCell = [];
        private readonly List<float> _positions = [];

        private readonly double _cellMm = 4 * toleranceMm;

        internal int Count => _olderInCell.Count;

        internal float[] Positions() => [.. _positions];

        internal int Add(Vec3 at)
        {
            ref var newest = ref CollectionsMarshal.GetValueRefOrAddDefault(_newestInCell, CellOf(at), out var known);
            _olderInCell.Add(known ? newest : -1);
            newest = Count - 1;
            _positions.Add((float)at.X);
            _positions.Add((float)at.Y);
            _positions.Add((float)at.Z);
            return newest;
        }

        internal (int Vertex, double DistanceMm) Nearest(Vec3 at)
        {
            var reach = new Vec3(toleranceMm, toleranceMm, toleranceMm);
            Cell low = CellOf(at - reach), high = CellOf(at + reach);
            var (found, best) = (-1, toleranceMm * toleranceMm);
            for (var corner = 0; corner < 8; corner++)
            {
                var cell = new Cell((corner & 1) == 0 ? low.X : high.X, (corner & 2) == 0 ? low.Y : high.Y, (corner & 4) == 0 ? low.Z : high.Z);
                if (IsRepeat(corner, low, high) || !_newestInCell.TryGetValue(cell, out var v))
                    continue;
                for (; v >= 0; v = _olderInCell[v])
                {
                    var d = (At(v) - at).LengthSquared;
                    if (d < best || (d == best && (found < 0 || v < found)))
                        (found, best) = (v, d);
                }
            }

            return (found, found < 0 ? 0 : Math.Sqrt(best));
        }

        // Along an axis where the ball stays within one cell, the high side would visit it a second time.
        private static bool IsRepeat(int corner, Cell low, Cell high) =>
            ((corner & 1) != 0 && low.X == high.X) || ((corner & 2) != 0 && low.Y == high.Y) || ((corner & 4) != 0 && low.Z == high.Z);

        private Vec3 At(int v) => new(_positions[3 * v], _positions[(3 * v) + 1], _positions[(3 * v) + 2]);

        private Cell CellOf(Vec3 at) => new(Math.Floor(at.X / _cellMm), Math.Floor(at.Y / _cellMm), Math.Floor(at.Z / _cellMm));
    }
}
