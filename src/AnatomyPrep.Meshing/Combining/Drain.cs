using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Repair;
using AnatomyPrep.Meshing.Shape;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Combining;

/// <param name="DiameterMm">Of every hole.</param>
/// <param name="PlacesMm">A hole from the outer surface nearest to each place into the void behind it; null or empty makes holes at the
/// lowest place of every void.</param>
/// <param name="Direction">Where down is, for holes without a place.</param>
/// <param name="Vent">Without places: a second hole at the highest place of every void, to let air in.</param>
/// <param name="MaxWallMm">A hole may not be longer than this.</param>
public sealed record DrainParameters(
    double DiameterMm, IReadOnlyList<Vec3>? PlacesMm = null, Vec3? Direction = null, bool Vent = false, double MaxWallMm = 30);

/// <summary>Drills holes through the wall of a hollow solid, so that resin or powder can leave its voids.</summary>
/// <remarks>
/// Without places: the hole runs along the direction through the middle of the void's lowest part, which is its surface around the
/// lowest vertex up to the height of the hole's radius; where the middle is not in the void, through the lowest vertex.
/// With places: along the mean normal of the outer surface within the hole's radius.
/// A hole begins in the void and ends where the last of 13 lines along its side and axis has left the outer surface. It may pass through
/// other voids, and opens them too. Its wall has origin cut.
/// Measures: holes, voidsBefore, voidsAfter, longestHoleMm, and those of a combination.
/// </remarks>
public static class Drain
{
    private const string Step = "drain";
    private const int RimLines = 12;

    /// <exception cref="PlanException">A diameter or length is not positive, or a place or direction not finite.</exception>
    /// <exception cref="CheckFailedException">No solid, no void, no void behind a place, too thick a wall; nothing has changed.</exception>
    public static ShapeResult Apply(Mesh mesh, DrainParameters parameters, RunContext run)
    {
        Positive("diameterMm", parameters.DiameterMm);
        Positive("maxWallMm", parameters.MaxWallMm);
        var down = Placement.Direction(Step, "direction", parameters.Direction ?? new Vec3(0, 0, -1));
        foreach (var place in parameters.PlacesMm ?? [])
            Placement.RequireFinite(Step, "placesMm", place);
        run.Report(Step, "check", 0);
        var before = SolidCheck.Require(Step, "the model", mesh, run);
        var pieces = Pieces.Find(mesh, run);
        var voids = Enumerable.Range(0, pieces.All.Count).Where(p => pieces.All[p].FacesInward).ToArray();
        if (voids.Length == 0)
            throw new CheckFailedException(Step, "a hollow model", "no closed void; make it hollow first");
        run.Report(Step, "place", 0.3);
        var drill = new Drill(mesh, pieces, TriangleTree.Build(mesh, run), parameters);
        if (parameters.PlacesMm is { Count: > 0 } places)
        {
            foreach (var place in places)
                drill.At(place);
        }
        else
        {
            drill.Lowest(voids, down);
            if (parameters.Vent)
                drill.Lowest(voids, -down);
        }

        run.Report(Step, "drill", 0.5);
        var drilled = SolidEdit.Apply(Step, BooleanOperation.Difference, mesh, drill.Holes, run);
        var left = Pieces.Find(drilled.Mesh, run).All.Count(p => p.FacesInward);
        if (left > voids.Length - drill.Opened.Count)
            throw new CheckFailedException(Step, $"{voids.Length - drill.Opened.Count} closed voids afterwards", $"{left}; choose another place or a wider hole");
        var effect = SolidEdit.Effect(
            before, drilled, ("holes", drill.Holes.Count), ("longestHoleMm", drill.LongestMm), ("voidsBefore", voids.Length), ("voidsAfter", left));
        return new(drilled.Mesh, effect, [.. Findings(parameters, drill, left), .. SolidEdit.SettledFinding(drilled)]);
    }

    private static void Positive(string parameter, double value)
    {
        if (!(value > 0) || !double.IsFinite(value))
            throw new PlanException(Step, null, parameter, Placement.Text(value), "a number above 0");
    }

    private static IEnumerable<Finding> Findings(DrainParameters parameters, Drill drill, int left)
    {
        yield return new(
            FindingCodes.DrainsMade,
            Severity.Note,
            FormattableString.Invariant($"{drill.Holes.Count} holes of {parameters.DiameterMm} mm were drilled into {drill.Opened.Count} voids; the longest goes through {drill.LongestMm:F2} mm."),
            "Check on the preview that they do not spoil a surface that matters; plug them after cleaning if they do.");
        if (left > 0)
            yield return new(
                FindingCodes.VoidsClosed,
                Severity.Caution,
                $"{left} closed voids have no drain hole.",
                "Add places for them, or fill them with drop-fragments: fillAllVoids.");
    }

    private sealed class Drill(Mesh mesh, Pieces pieces, TriangleTree tree, DrainParameters parameters)
    {
        private readonly double _radiusMm = parameters.DiameterMm / 2;
        private readonly List<RayHit> _hits = [];
        private readonly List<int> _near = [];
        private readonly VertexTriangles _around = VertexTriangles.Of(mesh);

        public List<Mesh> Holes { get; } = [];

        /// <summary>Voids that a hole leads into.</summary>
        public SortedSet<int> Opened { get; } = [];

        public double LongestMm { get; private set; }

        /// <summary>A hole through the outer surface nearest to a place.</summary>
        public void At(Vec3 placeMm)
        {
            var surface = tree.Nearest(placeMm).PositionMm;
            var outward = MeanNormal(surface);
            var inside = surface - (outward * (1e-3 * _radiusMm));
            tree.AllHits(inside, -outward, 0, double.PositiveInfinity, _hits);
            var wall = _hits.FindIndex(h => !h.Entering);
            if (wall < 0 || !pieces.All[pieces.PieceOfTriangle[_hits[wall].Triangle]].FacesInward)
                throw new CheckFailedException(Step, $"a void behind the place {Placement.Text(placeMm)} mm", "none; choose a place on the outer surface over the void");
            Through(inside - (outward * _hits[wall].DistanceMm), outward);
        }

        /// <summary>A hole through the lowest part of each void.</summary>
        public void Lowest(int[] voids, Vec3 down)
        {
            var lowest = new int[pieces.All.Count];
            Array.Fill(lowest, -1);
            for (var h = 0; h < mesh.Triangles.Length; h++)
            {
                ref var best = ref lowest[pieces.PieceOfTriangle[h / 3]];
                if (best < 0 || Vec3.Dot(mesh.Local(mesh.Triangles[h]), down) > Vec3.Dot(mesh.Local(best), down))
                    best = mesh.Triangles[h];
            }

            foreach (var piece in voids)
            {
                var above = MiddleAround(lowest[piece], down) - (down * _radiusMm);
                tree.AllHits(above, down, 0, double.PositiveInfinity, _hits);
                var inVoid = _hits.Count > 0 && _hits[0].Entering && pieces.PieceOfTriangle[_hits[0].Triangle] == piece;
                Through(inVoid ? above + (down * _hits[0].DistanceMm) : mesh.Vertex(lowest[piece]), down);
            }
        }

        /// <param name="wallMm">Point of a void's wall.</param>
        private void Through(Vec3 wallMm, Vec3 outward)
        {
            // Far enough into the void that the whole round of the hole opens, but not through its other side.
            tree.AllHits(wallMm - (outward * (1e-3 * _radiusMm)), -outward, 0, double.PositiveInfinity, _hits);
            var freeMm = _hits.Count > 0 ? _hits[0].DistanceMm : _radiusMm;
            var start = wallMm - (outward * Math.Min(_radiusMm, freeMm / 2));
            var u = Placement.AnyPerpendicular(outward);
            var v = Vec3.Cross(outward, u);
            var lengthMm = ExitMm(start, outward);
            for (var i = 0; i < RimLines; i++)
            {
                var (sin, cos) = Math.SinCos(2 * Math.PI * i / RimLines);
                lengthMm = Math.Max(lengthMm, ExitMm(start + (((u * cos) + (v * sin)) * _radiusMm), outward));
            }

            if (lengthMm > parameters.MaxWallMm)
                throw new CheckFailedException(
                    Step,
                    FormattableString.Invariant($"a wall of at most {parameters.MaxWallMm} mm at {Placement.Text(wallMm)} mm"),
                    FormattableString.Invariant($"{lengthMm:F1} mm; choose another direction or place, or raise maxWallMm"));
            LongestMm = Math.Max(LongestMm, lengthMm);
            var end = start + (outward * (lengthMm + (0.1 * _radiusMm)));
            Holes.Add(SolidShapes.Frustum(mesh.OriginMm, start, end, _radiusMm, _radiusMm, SolidShapes.Sides(_radiusMm), Origin.Cut));
        }

        /// <summary>Distance to where the line leaves the outer surface for the first time; 0 where it never does.</summary>
        private double ExitMm(Vec3 from, Vec3 outward)
        {
            tree.AllHits(from, outward, 0, double.PositiveInfinity, _hits);
            foreach (var hit in _hits)
            {
                var piece = pieces.PieceOfTriangle[hit.Triangle];
                if (pieces.All[piece].FacesInward)
                    Opened.Add(piece);
                else if (!hit.Entering)
                    return hit.DistanceMm;
            }

            return 0;
        }

        /// <summary>Middle of the surface around a vertex that lies less than the radius above it, in patient millimetres.</summary>
        private Vec3 MiddleAround(int lowest, Vec3 down)
        {
            var level = Vec3.Dot(mesh.Local(lowest), down) - _radiusMm;
            var seen = new HashSet<int> { lowest };
            var open = new Queue<int>(seen);
            var taken = new HashSet<int>();
            var (sum, area) = (Vec3.Zero, 0.0);
            while (open.TryDequeue(out var vertex))
                foreach (var corner in _around.CornersAt(vertex))
                {
                    var t = corner / 3;
                    var (a, b, c) = mesh.Triangle(t);
                    var middle = (mesh.Local(a) + mesh.Local(b) + mesh.Local(c)) / 3;
                    if (Vec3.Dot(middle, down) < level || !taken.Add(t))
                        continue;
                    var triangleMm2 = MeshMeasures.TriangleAreaMm2(mesh, t);
                    sum += middle * triangleMm2;
                    area += triangleMm2;
                    foreach (var next in (ReadOnlySpan<int>)[a, b, c])
                        if (seen.Add(next))
                            open.Enqueue(next);
                }

            return (area > 0 ? sum / area : mesh.Local(lowest)) + mesh.OriginMm;
        }

        private Vec3 MeanNormal(Vec3 surfaceMm)
        {
            var nearest = tree.Nearest(surfaceMm).Triangle;
            _near.Clear();
            tree.TrianglesNear(new Box3(surfaceMm, surfaceMm).Grown(_radiusMm), _near);
            var sum = AreaNormal(nearest);
            foreach (var t in _near.Order())
                if (pieces.PieceOfTriangle[t] == pieces.PieceOfTriangle[nearest] && Vec3.Dot(AreaNormal(t), AreaNormal(nearest)) > 0)
                    sum += AreaNormal(t);
            return sum.Normalized();
        }

        private Vec3 AreaNormal(int t)
        {
            var (a, b, c) = mesh.Triangle(t);
            return Vec3.Cross(mesh.Local(b) - mesh.Local(a), mesh.Local(c) - mesh.Local(a));
        }
    }
}
