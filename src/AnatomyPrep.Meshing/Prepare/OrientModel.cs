using System.Collections.Concurrent;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Prepare;

/// <param name="Directions">How many directions are tried before the best are refined.</param>
/// <param name="Kept">Triangles that shall stay free of support; null for none.</param>
/// <param name="RasterPixels">Pixels along the diagonal of the model's bounds.</param>
public sealed record OrientModelParameters(PrintProfile Profile, int Directions = 200, bool[]? Kept = null, int RasterPixels = 160);

/// <summary>What a search over orientations found.</summary>
/// <param name="Chosen">Of all tried, that with the least score.</param>
/// <param name="AsGiven">The orientation the model came in.</param>
/// <param name="Pareto">Those that no other one beats in every wish; best score first.</param>
/// <param name="Tried">All, in the order tried.</param>
/// <param name="Shadowed">Triangles that no straight tool reaches from outside within 45° of their normal.</param>
/// <param name="Why">What the chosen one gains and gives away, in words.</param>
public sealed record OrientModelResult(
    Orientation Chosen, Orientation AsGiven, IReadOnlyList<Orientation> Pareto, IReadOnlyList<Orientation> Tried, bool[] Shadowed, string Why);

/// <summary>Searches how a model should lie so that it needs little support, in places that can be reached and do not matter.</summary>
/// <remarks>
/// Method: (1) directions spread evenly over the sphere by a Fibonacci lattice (Á. González, Math. Geosciences 42, 2010; from memory),
///   the axes, and the normals of the largest flat areas, so that a model with flat sides finds them exactly; (2) from the best four, compass search
///   on the sphere (T. Kolda, R. Lewis, V. Torczon, SIAM Review 45, 2003; from memory), steps from 6° halved to 0.4°. Wishes are weighed as the
///   profile says, each as a share: contact, shadowed and kept of the area, support of the bounds' volume, height of the diagonal, and
///   1 − topple/20°. Contact, shadow and height are sums over all triangles of the whole mesh, not of a simplified one; the space below
///   overhangs is that of <see cref="SupportNeed"/> on a raster.
/// What can be reached: <see cref="Reach"/>.
/// Cost: O(triangles) per direction, about 480 directions. Same result on any number of threads.
/// Memory: 29 bytes a triangle, and per thread 16 a vertex and 4 a triangle.
/// </remarks>
public static class OrientModel
{
    private const string Step = "lay";
    private const int Starts = 4;
    private const double FirstStepDeg = 6;
    private const double LastStepDeg = 0.4;
    private const double SteadyDeg = 20;
    private const double FlatShare = 0.005;
    private const int MostFlats = 24;

    /// <exception cref="PlanException">Fewer than 20 or more than 5000 directions, or a raster of fewer than 20 or more than 2000 pixels.</exception>
    /// <exception cref="CheckFailedException">There is nothing to lay.</exception>
    public static OrientModelResult Search(Mesh mesh, OrientModelParameters parameters, RunContext run)
    {
        Require(mesh, parameters);
        var search = new Run(mesh, parameters, run);
        return search.Result();
    }

    private static void Require(Mesh mesh, OrientModelParameters parameters)
    {
        if (parameters.Directions is < 20 or > 5000)
            throw new PlanException(Step, null, "directions", $"{parameters.Directions}", "a whole number from 20 to 5000");
        if (parameters.RasterPixels is < 20 or > 2000)
            throw new PlanException(Step, null, "rasterPixels", $"{parameters.RasterPixels}", "a whole number from 20 to 2000");
        if (mesh.TriangleCount == 0)
            throw new CheckFailedException(Step, "a mesh with triangles", "none");
        if (parameters.Kept is { } kept && kept.Length != mesh.TriangleCount)
            throw new ArgumentException("One flag per triangle is needed.", nameof(parameters));
    }

    /// <summary>Directions of a Fibonacci lattice, nearly the same area around each.</summary>
    public static Vec3[] Spread(int count)
    {
        var golden = Math.PI * (3 - Math.Sqrt(5));
        var directions = new Vec3[count];
        for (var i = 0; i < count; i++)
        {
            var z = 1 - (((2 * i) + 1.0) / count);
            var (sin, cos) = Math.SinCos(golden * i);
            var across = Math.Sqrt(1 - (z * z));
            directions[i] = new(across * cos, across * sin, z);
        }

        return directions;
    }

    private sealed class Run(Mesh mesh, OrientModelParameters parameters, RunContext run)
    {
        private readonly FaceTable _faces = FaceTable.Of(mesh, run);
        private readonly double _pixelMm = ColumnRaster.PixelFor(mesh, parameters.RasterPixels);
        private readonly ConcurrentBag<(ColumnRaster Raster, float[] Along)> _spare = [];
        private readonly List<Orientation> _tried = [];
        private bool[] _shadowed = [];
        private double _keptMm2;

        public OrientModelResult Result()
        {
            var spread = Spread(parameters.Directions);
            run.Report(Step, "reach", 0);
            _shadowed = Reach.Shadowed(mesh, _faces, _pixelMm, spread, run);
            for (var t = 0; parameters.Kept is { } kept && t < kept.Length; t++)
                _keptMm2 += kept[t] ? _faces.AreaMm2[t] : 0;
            run.Report(Step, "directions", 0.4);
            Try([new(0, 0, 1), .. Axes(), .. Flats(), .. spread]);
            run.Report(Step, "refining", 0.7);
            Refine();
            var chosen = _tried.MinBy(o => o.Score)!;
            return new(chosen, _tried[0], Pareto(), _tried, _shadowed, Why(chosen, _tried[0]));
        }

        private static IEnumerable<Vec3> Axes() => [new(0, 0, -1), new(1, 0, 0), new(-1, 0, 0), new(0, 1, 0), new(0, -1, 0)];

        private (ColumnRaster Raster, float[] Along) Rent() =>
            _spare.TryTake(out var spare) ? spare : (new ColumnRaster(), new float[mesh.TriangleCount]);

        private int Try(Vec3[] directions)
        {
            var first = _tried.Count;
            var found = new Orientation[directions.Length];
            Partition.For(run, directions.Length, i =>
            {
                var (raster, along) = Rent();
                raster.Cast(mesh, UpFrame.Of(directions[i]), _pixelMm, run);
                var lies = SupportNeed.Of(mesh, _faces, raster, along, parameters.Profile.OverhangLimitDeg, _shadowed, parameters.Kept);
                found[i] = lies with { Score = Score(lies) };
                _spare.Add((raster, along));
            });
            _tried.AddRange(found);
            return first;
        }

        private double Score(Orientation o)
        {
            var weights = parameters.Profile.Weights;
            var size = mesh.BoundsMm().Size;
            var whole = Math.Max(1e-9, _faces.TotalMm2);
            var score = (weights.Contact * o.ContactMm2 / whole)
                + (weights.Support * o.SupportMm3 / Math.Max(1e-9, size.X * size.Y * size.Z))
                + (weights.Height * o.HeightMm / Math.Max(1e-9, size.Length))
                + (weights.Stability * (1 - Math.Min(1, o.ToppleDeg / SteadyDeg)))
                + (weights.Shadowed * o.ShadowedMm2 / whole);
            return _keptMm2 > 0 ? score + (weights.Kept * o.KeptMm2 / _keptMm2) : score;
        }

        /// <summary>Up and down along the normals of large flat areas: cells of an octahedral map, then the mean around each peak.</summary>
        private IEnumerable<Vec3> Flats()
        {
            const int Side = 48;
            var areas = new double[Side * Side];
            for (var t = 0; t < mesh.TriangleCount; t++)
                areas[Cell(_faces.Normal(t), Side)] += _faces.AreaMm2[t];
            var peaks = Enumerable.Range(0, areas.Length).Where(i => areas[i] > FlatShare * _faces.TotalMm2)
                .OrderByDescending(i => areas[i]).ThenBy(i => i).Take(MostFlats).ToArray();
            var index = new int[areas.Length];
            Array.Fill(index, -1);
            for (var i = 0; i < peaks.Length; i++)
                index[peaks[i]] = i;
            var sums = new Vec3[peaks.Length];
            for (var t = 0; t < mesh.TriangleCount; t++)
                if (index[Cell(_faces.Normal(t), Side)] is >= 0 and var i)
                    sums[i] += _faces.Normal(t) * _faces.AreaMm2[t];
            return sums.Where(s => s.Length > 0).SelectMany(s => new[] { s.Normalized(), -s.Normalized() });
        }

        private static int Cell(Vec3 n, int side)
        {
            var sum = Math.Abs(n.X) + Math.Abs(n.Y) + Math.Abs(n.Z);
            if (sum == 0)
                return 0;
            var (u, v) = (n.X / sum, n.Y / sum);
            if (n.Z < 0)
                (u, v) = ((1 - Math.Abs(v)) * (u < 0 ? -1 : 1), (1 - Math.Abs(u)) * (v < 0 ? -1 : 1));
            static int At(double x, int side) => Math.Clamp((int)Math.Floor((x + 1) / 2 * (side - 1) + 0.5), 0, side - 1);
            return (At(v, side) * side) + At(u, side);
        }

        /// <summary>From the best few that are not near each other, all side by side.</summary>
        private void Refine()
        {
            const double Apart = 0.97;
            var at = new List<int>();
            foreach (var i in Enumerable.Range(0, _tried.Count).OrderBy(i => _tried[i].Score).ThenBy(i => i))
                if (at.Count < Starts && at.TrueForAll(j => Vec3.Dot(_tried[j].Up, _tried[i].Up) < Apart))
                    at.Add(i);
            var steps = at.ConvertAll(_ => FirstStepDeg);
            while (steps.Exists(s => s >= LastStepDeg))
            {
                run.ThrowIfCancelled();
                var alive = Enumerable.Range(0, at.Count).Where(k => steps[k] >= LastStepDeg).ToArray();
                var first = Try([.. alive.SelectMany(k => Around(_tried[at[k]].Up, steps[k]))]);
                for (var n = 0; n < alive.Length; n++)
                {
                    var k = alive[n];
                    var best = Enumerable.Range(first + (4 * n), 4).MinBy(i => _tried[i].Score);
                    if (_tried[best].Score < _tried[at[k]].Score)
                        at[k] = best;
                    else
                        steps[k] /= 2;
                }
            }
        }

        private static IEnumerable<Vec3> Around(Vec3 up, double stepDeg)
        {
            var frame = UpFrame.Of(up);
            var (sin, cos) = Math.SinCos(stepDeg * Math.PI / 180);
            return new[] { frame.Right, frame.Back, -frame.Right, -frame.Back }.Select(side => ((up * cos) + (side * sin)).Normalized());
        }

        private List<Orientation> Pareto()
        {
            var front = new List<Orientation>();
            foreach (var o in _tried.OrderBy(o => o.Score))
                if (!front.Exists(f => f.Dominates(o) || f == o))
                {
                    front.RemoveAll(f => o.Dominates(f));
                    front.Add(o);
                }

            return front;
        }

        private static string Why(Orientation chosen, Orientation given) => FormattableString.Invariant(
            $"least weighted sum; against the orientation it came in: contact {chosen.ContactMm2:F0} instead of {given.ContactMm2:F0} mm², support {chosen.SupportMm3 / 1000:F1} instead of {given.SupportMm3 / 1000:F1} cm³, height {chosen.HeightMm:F0} instead of {given.HeightMm:F0} mm, out of reach {chosen.ShadowedMm2:F0} instead of {given.ShadowedMm2:F0} mm²");
    }
}
