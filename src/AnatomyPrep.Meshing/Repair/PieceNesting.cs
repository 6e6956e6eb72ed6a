using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Finds the shell that each inward-facing closed piece (a cavity) lies in.</summary>
/// <remarks>
/// A line straight up from the cavity's highest vertex; the winding number of a shell is the sum of the signs of its
/// triangles above. Whether the line meets a triangle is decided edge by edge with a half-open rule and one sign per edge
/// that both its triangles share, so an edge or a vertex exactly on the line is counted once and rounding cannot open a gap.
/// The points are sorted into a grid in x and y and the triangles pass over it: O(triangles + points) where triangles
/// are small against the spread of the points.
/// </remarks>
internal static class PieceNesting
{
    /// <returns>Per piece: the smallest closed outward piece around it, or -1. Only for pieces that face inward.</returns>
    public static int[] FindShellsOfCavities(Mesh mesh, Pieces pieces, RunContext run)
    {
        var shell = new int[pieces.All.Count];
        Array.Fill(shell, -1);
        var cavities = new List<int>();
        for (var p = 0; p < shell.Length; p++)
            if (pieces.All[p].FacesInward)
                cavities.Add(p);
        if (cavities.Count == 0 || cavities.Count == shell.Length)
            return shell;

        var grid = new PointGrid([.. cavities.Select(p => mesh.Local(pieces.All[p].TopVertex))]);
        var under = new List<int>();
        var crossings = new Dictionary<(int Cavity, int Shell), int>();
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            if ((t & 0xFFF) == 0)
                run.ThrowIfCancelled();
            var piece = pieces.PieceOfTriangle[t];
            if (!pieces.All[piece].IsClosed || pieces.All[piece].FacesInward)
                continue;
            var (a, b, c) = mesh.Triangle(t);
            grid.FindUnder(mesh.Local(a), mesh.Local(b), mesh.Local(c), under);
            foreach (var q in under)
            {
                var sign = SignAbove(mesh, a, b, c, grid.Points[q]);
                if (sign != 0)
                    crossings[(q, piece)] = crossings.GetValueOrDefault((q, piece)) + sign;
            }
        }

        foreach (var (key, winding) in crossings.OrderBy(e => e.Key))
        {
            if (winding == 0)
                continue;
            ref var best = ref shell[cavities[key.Cavity]];
            if (best < 0 || pieces.All[key.Shell].VolumeMm3 < pieces.All[best].VolumeMm3)
                best = key.Shell;
        }

        return shell;
    }

    /// <summary>+1 or -1 when the triangle, seen along z, covers the point and lies above it; else 0.</summary>
    private static int SignAbove(Mesh mesh, int a, int b, int c, Vec3 q)
    {
        var winding = Crossing(mesh, a, b, q) + Crossing(mesh, b, c, q) + Crossing(mesh, c, a, q);
        if (winding == 0)
            return 0;
        Vec3 pa = mesh.Local(a), pb = mesh.Local(b), pc = mesh.Local(c);
        var n = Vec3.Cross(pb - pa, pc - pa);
        var z = n.Z != 0
            ? pa.Z - (((n.X * (q.X - pa.X)) + (n.Y * (q.Y - pa.Y))) / n.Z)
            : (pa.Z + pb.Z + pc.Z) / 3;
        return z > q.Z ? winding : 0;
    }

    // Does the edge cross the half line from q towards +x? Up counts +1, down -1. The side is computed from the smaller
    // vertex number to the larger, so that both triangles of an edge get the same answer.
    private static int Crossing(Mesh mesh, int from, int to, Vec3 q)
    {
        Vec3 p = mesh.Local(from), r = mesh.Local(to);
        if (p.Y <= q.Y == (r.Y <= q.Y))
            return 0;
        var (low, high) = from < to ? (p, r) : (r, p);
        var side = ((high.X - low.X) * (q.Y - low.Y)) - ((high.Y - low.Y) * (q.X - low.X));
        var qIsLeftOfRising = high.Y > low.Y ? side > 0 : side < 0;
        if (!qIsLeftOfRising)
            return 0;
        return r.Y > p.Y ? 1 : -1;
    }

    private sealed class PointGrid
    {
        private readonly int _side;
        private readonly Box3 _box;
        private readonly int[] _start;
        private readonly int[] _points;

        public PointGrid(Vec3[] points)
        {
            Points = points;
            _box = Box3.Empty;
            foreach (var p in points)
                _box = _box.Including(p);
            _side = Math.Clamp((int)Math.Sqrt(points.Length), 1, 1024);
            _start = new int[(_side * _side) + 1];
            foreach (var p in points)
                _start[Cell(p) + 1]++;
            for (var cell = 0; cell < _side * _side; cell++)
                _start[cell + 1] += _start[cell];
            var next = _start.ToArray();
            _points = new int[points.Length];
            for (var q = 0; q < points.Length; q++)
                _points[next[Cell(points[q])]++] = q;
        }

        public Vec3[] Points { get; }

        /// <summary>Points whose cell the triangle's bounds touch and that do not lie above it.</summary>
        public void FindUnder(Vec3 a, Vec3 b, Vec3 c, List<int> found)
        {
            found.Clear();
            var min = Vec3.Min(a, Vec3.Min(b, c));
            var max = Vec3.Max(a, Vec3.Max(b, c));
            if (max.X < _box.Min.X || min.X > _box.Max.X || max.Y < _box.Min.Y || min.Y > _box.Max.Y)
                return;
            int c0 = Column(min.X), c1 = Column(max.X), r1 = Row(max.Y);
            for (var row = Row(min.Y); row <= r1; row++)
            {
                for (var i = _start[(row * _side) + c0]; i < _start[(row * _side) + c1 + 1]; i++)
                {
                    if (Points[_points[i]].Z <= max.Z)
                        found.Add(_points[i]);
                }
            }
        }

        private int Cell(Vec3 p) => (Row(p.Y) * _side) + Column(p.X);

        private int Column(double x) => Slot(x - _box.Min.X, _box.Size.X);

        private int Row(double y) => Slot(y - _box.Min.Y, _box.Size.Y);

        private int Slot(double from, double size) => size > 0 ? (int)Math.Clamp(from / size * _side, 0, _side - 1) : 0;
    }
}
