using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Combining;

/// <summary>Where pegs can stand on a cut: deep enough in material, and far from each other.</summary>
/// <param name="FeetMm">Points on the plane; empty when none fits.</param>
/// <param name="RoomMm">Largest radius found, peg, gap and wall together.</param>
/// <param name="WallMm">Least material around any socket.</param>
/// <remarks>
/// Candidates lie on a square grid over the section. Room of a candidate: the least distance to the model's surface from points along the
/// axis, one every half radius from the plane to the socket's end, less what can lie between two points. A candidate fits when its room
/// holds the socket and the wall. The first peg is the one farthest from the middle of all that fit, the second the farthest from
/// the first, every further one the farthest from those before; none nearer than two diameters.
/// Cost: one distance to the surface for each candidate and depth, at most about 40,000 candidates.
/// </remarks>
internal sealed record PegPlaces(IReadOnlyList<Vec3> FeetMm, double RoomMm, double WallMm)
{
    private const int MostAcross = 200;

    public static PegPlaces None { get; } = new([], 0, 0);

    public static PegPlaces Find(Mesh mesh, CutIntoPartsParameters p, Vec3 normal, RunContext run)
    {
        var tree = TriangleTree.Build(mesh, run);
        var socketMm = (p.DiameterMm / 2) + p.ClearanceMm;
        var neededMm = socketMm + p.MinWallMm;
        var candidates = Grid(mesh, p.PointMm, normal, p.DiameterMm / 10);
        var depths = Depths(p.LengthMm + p.ClearanceMm, socketMm);
        var between = depths.Length > 1 ? depths[1] / 2 : 0;
        var room = new double[candidates.Length];
        Partition.Ranges(run, candidates.Length, 64, (_, from, to) =>
        {
            for (var i = from; i < to; i++)
                room[i] = RoomAt(tree, candidates[i], -normal, depths, between, neededMm);
        });
        var fits = Enumerable.Range(0, candidates.Length).Where(i => room[i] >= neededMm).ToArray();
        if (fits.Length == 0)
            return new([], room.DefaultIfEmpty(0).Max(), 0);
        var chosen = Spread(candidates, fits, p.Pegs, 2 * p.DiameterMm);
        return new([.. chosen.Select(i => candidates[i])], fits.Max(i => room[i]), chosen.Min(i => room[i]) - socketMm);
    }

    private static double[] Depths(double deepestMm, double radiusMm)
    {
        var steps = Math.Max(1, (int)Math.Ceiling(deepestMm / (radiusMm / 2)));
        return [.. Enumerable.Range(0, steps + 1).Select(i => deepestMm * i / steps)];
    }

    /// <summary>0 outside of the model; a place that is too narrow is not measured to its end.</summary>
    private static double RoomAt(TriangleTree tree, Vec3 foot, Vec3 into, double[] depths, double between, double neededMm)
    {
        if (!tree.IsInsideByParity(foot))
            return 0;
        var room = double.PositiveInfinity;
        foreach (var depth in depths)
        {
            // A ball of radius r around a point covers the cylinder of radius √(r² − s²) for s to either side along the axis.
            var r = tree.Nearest(foot + (into * depth)).DistanceMm;
            room = Math.Min(room, Math.Sqrt(Math.Max(0, (r * r) - (between * between))));
            if (room < neededMm / 2)
                break;
        }

        return room;
    }

    private static Vec3[] Grid(Mesh mesh, Vec3 pointMm, Vec3 normal, double wantedMm)
    {
        var u = Placement.AnyPerpendicular(normal);
        var v = Vec3.Cross(normal, u);
        double u0 = double.PositiveInfinity, v0 = u0, u1 = double.NegativeInfinity, v1 = u1;
        for (var i = 0; i < mesh.VertexCount; i++)
        {
            var q = mesh.Vertex(i) - pointMm;
            var (a, b) = (Vec3.Dot(q, u), Vec3.Dot(q, v));
            (u0, u1, v0, v1) = (Math.Min(u0, a), Math.Max(u1, a), Math.Min(v0, b), Math.Max(v1, b));
        }

        var step = Math.Max(wantedMm, Math.Max(u1 - u0, v1 - v0) / MostAcross);
        var grid = new List<Vec3>();
        for (var b = v0 + (step / 2); b < v1; b += step)
            for (var a = u0 + (step / 2); a < u1; a += step)
                grid.Add(pointMm + (u * a) + (v * b));
        return [.. grid];
    }

    private static List<int> Spread(Vec3[] candidates, int[] fits, int wanted, double leastMm)
    {
        var middle = Vec3.Zero;
        foreach (var i in fits)
            middle += candidates[i] / fits.Length;
        if (wanted == 1)
            return [fits.MinBy(i => Vec3.Distance(candidates[i], middle))];
        var chosen = new List<int> { fits.MaxBy(i => Vec3.Distance(candidates[i], middle)) };
        while (chosen.Count < wanted)
        {
            var next = fits.MaxBy(Nearest);
            if (Nearest(next) < leastMm)
                break;
            chosen.Add(next);
        }

        return chosen;

        double Nearest(int i) => chosen.Min(c => Vec3.Distance(candidates[c], candidates[i]));
    }
}
