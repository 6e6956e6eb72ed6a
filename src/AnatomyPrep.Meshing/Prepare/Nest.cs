using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Prepare;

/// <summary>Where a part goes.</summary>
/// <param name="Part">Number of the part as given.</param>
/// <param name="Plate">From 0.</param>
/// <param name="TurnDeg">About z: 0, 90, 180 or 270, about the coordinate origin, before the shift.</param>
/// <param name="ShiftMm">After the turn. The plate's corner is at (0, 0, 0).</param>
public sealed record PlacedPart(int Part, int Plate, double TurnDeg, Vec3 ShiftMm);

/// <summary>Lays several parts on as few plates as it finds, none over another.</summary>
/// <remarks>
/// Method: bottom-left placing of outlines on a grid, largest first (B. S. Baker, E. G. Coffman, R. L. Rivest, SIAM J. Computing 9, 1980, for the order and the corner; the grid
///   is a plain bitmap). A part's outline is every grid square that any of its triangles' shadow may touch, grown by half the gap; two outlines never share a square, so two
///   parts are never nearer than the gap, and none stands over another. Conservative by at most two squares. Parts stay the way up they are given.
/// Cost: O(triangles + plate squares × outline squares); deterministic.
/// </remarks>
public static class Nest
{
    private const string Step = "fit-plate";

    /// <param name="gapMm">Between parts; half of it to the edge of the plate.</param>
    /// <param name="squareMm">Size of a grid square.</param>
    /// <exception cref="PlanException">A gap or square is not positive.</exception>
    /// <exception cref="CheckFailedException">A part is larger than the plate, or there is none.</exception>
    public static IReadOnlyList<PlacedPart> Place(IReadOnlyList<Mesh> parts, PrintProfile profile, double gapMm, double squareMm, RunContext run)
    {
        if (!(gapMm >= 0) || !double.IsFinite(gapMm))
            throw new PlanException(Step, null, "gapMm", FormattableString.Invariant($"{gapMm}"), "a number from 0");
        if (!(squareMm > 0) || !double.IsFinite(squareMm))
            throw new PlanException(Step, null, "squareMm", FormattableString.Invariant($"{squareMm}"), "a number above 0");
        if (parts.Count == 0 || parts.Any(p => p.TriangleCount == 0))
            throw new CheckFailedException(Step, "parts with triangles", parts.Count == 0 ? "no parts" : "an empty one");
        var build = profile.BuildVolumeMm;
        var outlines = new Outline[parts.Count][];
        Partition.For(run, parts.Count, i => outlines[i] = [.. Enumerable.Range(0, 4).Select(turn => Outline.Of(parts[i], turn, gapMm / 2, squareMm))]);
        int width = (int)Math.Floor(build.X / squareMm), depth = (int)Math.Floor(build.Y / squareMm);
        var plates = new List<bool[]>();
        var placed = new PlacedPart[parts.Count];
        foreach (var i in Enumerable.Range(0, parts.Count).OrderByDescending(i => outlines[i][0].Squares.Length).ThenBy(i => i))
        {
            run.ThrowIfCancelled();
            var heightMm = parts[i].BoundsMm().Size.Z;
            if (heightMm > build.Z || !outlines[i].Any(o => o.Width <= width && o.Depth <= depth))
                throw new CheckFailedException(
                    Step,
                    FormattableString.Invariant($"part {i + 1} to fit {build.X} x {build.Y} x {build.Z} mm with a gap of {gapMm} mm"),
                    FormattableString.Invariant($"{parts[i].BoundsMm().Size.X:F1} x {parts[i].BoundsMm().Size.Y:F1} x {heightMm:F1} mm; cut it with cut-into-parts, scale it, or lay it another way"));
            for (var plate = 0; ; plate++)
            {
                if (plate == plates.Count)
                    plates.Add(new bool[width * depth]);
                if (TryPlace(outlines[i], plates[plate], width, depth, out var turn, out var x, out var y))
                {
                    var outline = outlines[i][turn];
                    placed[i] = new(i, plate, 90 * turn, new Vec3((x * squareMm) - outline.LowX, (y * squareMm) - outline.LowY, -parts[i].BoundsMm().Min.Z));
                    break;
                }
            }
        }

        return placed;
    }

    private static bool TryPlace(Outline[] turns, bool[] taken, int width, int depth, out int turn, out int x, out int y)
    {
        (turn, x, y) = (-1, 0, 0);
        var bestTop = int.MaxValue;
        for (var t = 0; t < turns.Length; t++)
        {
            var outline = turns[t];
            for (var oy = 0; oy + outline.Depth <= Math.Min(depth, bestTop); oy++)
            {
                var ox = FirstFree(outline, taken, width, oy);
                if (ox < 0)
                    continue;
                if (oy + outline.Depth < bestTop)
                    (turn, x, y, bestTop) = (t, ox, oy, oy + outline.Depth);
                break;
            }
        }

        if (turn < 0)
            return false;
        foreach (var (sx, sy) in turns[turn].Squares)
            taken[((y + sy) * width) + x + sx] = true;
        return true;
    }

    private static int FirstFree(Outline outline, bool[] taken, int width, int y)
    {
        for (var x = 0; x + outline.Width <= width; x++)
        {
            var free = true;
            foreach (var (sx, sy) in outline.Squares)
                if (taken[((y + sy) * width) + x + sx])
                {
                    free = false;
                    break;
                }

            if (free)
                return x;
        }

        return -1;
    }

    /// <summary>Grid squares of a turned part with its gap; (LowX, LowY) is the corner of square (0, 0) in the turned part's own coordinates.</summary>
    private sealed record Outline(int Width, int Depth, double LowX, double LowY, (int X, int Y)[] Squares)
    {
        public static Outline Of(Mesh part, int turn, double gapMm, double squareMm)
        {
            double lowX = double.PositiveInfinity, lowY = lowX, highX = double.NegativeInfinity, highY = highX;
            for (var v = 0; v < part.VertexCount; v++)
            {
                var (x, y) = Turn(part.Vertex(v), turn);
                (lowX, highX) = (Math.Min(lowX, x), Math.Max(highX, x));
                (lowY, highY) = (Math.Min(lowY, y), Math.Max(highY, y));
            }

            (lowX, lowY) = (lowX - gapMm, lowY - gapMm);
            int width = (int)Math.Ceiling((highX + gapMm - lowX) / squareMm), depth = (int)Math.Ceiling((highY + gapMm - lowY) / squareMm);
            (width, depth) = (Math.Max(1, width), Math.Max(1, depth));
            var covered = new bool[width * depth];
            for (var t = 0; t < part.TriangleCount; t++)
                Cover(part, t, turn, lowX, lowY, squareMm, gapMm, covered, width, depth);
            var squares = Enumerable.Range(0, covered.Length).Where(i => covered[i]).Select(i => (i % width, i / width)).ToArray();
            return new(width, depth, lowX, lowY, squares);
        }

        /// <summary>Every square that the triangle's shadow, grown by the gap, may touch: of its bounds those that no side of it keeps out.</summary>
        private static void Cover(Mesh part, int t, int turn, double lowX, double lowY, double square, double gap, bool[] covered, int width, int depth)
        {
            var (a, b, c) = part.Triangle(t);
            var (ax, ay) = Turn(part.Vertex(a), turn);
            var (bx, by) = Turn(part.Vertex(b), turn);
            var (cx, cy) = Turn(part.Vertex(c), turn);
            int At(double p, double low, int count) => Math.Clamp((int)Math.Floor((p - low) / square), 0, count - 1);
            int x0 = At(Math.Min(ax, Math.Min(bx, cx)) - gap, lowX, width), x1 = At(Math.Max(ax, Math.Max(bx, cx)) + gap, lowX, width);
            int y0 = At(Math.Min(ay, Math.Min(by, cy)) - gap, lowY, depth), y1 = At(Math.Max(ay, Math.Max(by, cy)) + gap, lowY, depth);
            if (((bx - ax) * (cy - ay)) - ((by - ay) * (cx - ax)) < 0)
                (bx, by, cx, cy) = (cx, cy, bx, by);
            var reach = gap + (square * Math.Sqrt(0.5));
            for (var y = y0; y <= y1; y++)
                for (var x = x0; x <= x1; x++)
                {
                    double px = lowX + ((x + 0.5) * square), py = lowY + ((y + 0.5) * square);
                    if (Beside(ax, ay, bx, by, px, py) <= reach && Beside(bx, by, cx, cy, px, py) <= reach && Beside(cx, cy, ax, ay, px, py) <= reach)
                        covered[(y * width) + x] = true;
                }
        }

        /// <summary>How far a point lies to the right of a directed side; 0 for a side without length.</summary>
        private static double Beside(double ax, double ay, double bx, double by, double px, double py)
        {
            double dx = bx - ax, dy = by - ay, length = Math.Sqrt((dx * dx) + (dy * dy));
            return length > 0 ? ((dy * (px - ax)) - (dx * (py - ay))) / length : 0;
        }

        private static (double X, double Y) Turn(Vec3 p, int turn) => turn switch
        {
            0 => (p.X, p.Y),
            1 => (-p.Y, p.X),
            2 => (-p.X, -p.Y),
            _ => (p.Y, -p.X),
        };
    }
}
