using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Walls;

/// <summary>A shell one wall of which is the given sheet itself.</summary>
/// <param name="Walls">The wall each triangle belongs to.</param>
internal sealed record StitchedSheet(Mesh Mesh, Bound[] Walls);

/// <summary>Puts the given sheet in the place of the wall that was extracted along it, vertex by vertex and triangle by triangle.</summary>
/// <remarks>
/// The extracted wall along the sheet is taken away together with the lower part of the rim. What stays ends in one loop for each
///   border of the sheet; a strip of triangles joins the two: of all strips the one with the least sum of squared lengths across
///   (dynamic programming over both loops, after H. Fuchs, Z. M. Kedem, S. P. Uselton, "Optimal Surface Reconstruction from
///   Planar Contours", CACM 20(10) (1977), from memory; they take the least area, which does not choose where loops are parallel).
/// Crossings are found exactly; where the strip crosses something, more of the rim is taken away there and the strip laid again.
/// Not for every sheet: it must be a manifold that does not cross itself, and each border must find its loop. Otherwise null,
///   and the extracted wall stands.
/// Cost: the product of both loops' lengths, and a search for crossings each round. Memory: one byte for each pair of loop vertices.
/// </remarks>
internal sealed class SheetStitch
{
    private const int MostRounds = 8;
    private const int MostScrap = 10_000;
    private const long MostPairs = 100_000_000;

    // Rim vertices this near to the sheet go with the wall, so that the strip is not all slivers.
    private const double LeastRimCells = 0.5;

    private readonly SheetSide _sheet;
    private readonly SparseSurface _surface;
    private readonly bool[] _keep;
    private readonly bool _turned;
    private readonly bool[] _gone;
    private readonly int[] _opposite;
    private readonly List<(int[] HalfEdges, int[] Vertices)> _borders = [];
    private readonly Dictionary<int, (int Border, int Index)> _placeOf = [];

    private SheetStitch(SheetSide sheet, SparseSurface surface, bool[] keep, bool turned)
    {
        (_sheet, _surface, _keep, _turned) = (sheet, surface, keep, turned);
        _gone = new bool[surface.VertexCount];
        _opposite = EdgeTable.Build(surface.Triangles, surface.VertexCount).OppositeArray;
        var mesh = sheet.Tree.Mesh;
        foreach (var loop in Loops(sheet.Edges.OppositeArray, _ => true))
        {
            for (var i = 0; i < loop.Length; i++)
                _placeOf.Add(loop[i], (_borders.Count, i));
            _borders.Add((loop, [.. loop.Select(h => mesh.Triangles[h])]));
        }
    }

    /// <param name="keep">Triangles of the surface that are not dropped for their size.</param>
    /// <param name="walls">The wall each triangle of the surface belongs to.</param>
    /// <param name="edgeOf">By vertex: the wall whose edge with the rim it lies on.</param>
    /// <param name="own">The bound at which the sheet itself lies.</param>
    public static StitchedSheet? TryApply(
        string step, SheetSide sheet, SparseSurface surface, bool[] keep, Bound[] walls, Bound[] edgeOf, Bound own, double cellMm, RunContext run)
    {
        var edges = sheet.Edges;
        if (sheet.Crossings > 0 || edges.NonManifoldEdges > 0 || edges.InconsistentEdges > 0
            || Array.Exists(edges.OppositeArray, o => o == EdgeTable.Degenerate)
            || VertexFans.NonManifold(sheet.Tree.Mesh.TriangleArray, sheet.Tree.Mesh.VertexCount, edges, run).Count > 0)
            return null;
        var stitch = new SheetStitch(sheet, surface, keep, turned: own == Bound.Low);
        stitch.TakeWall(edgeOf, own, LeastRimCells * cellMm);
        for (var round = 0; round < MostRounds; round++)
        {
            run.Report(step, "join the sheet", (double)round / MostRounds);
            if (stitch.Strip() is not { } strip)
                return null;
            var (mesh, numbers, firstStrip) = stitch.Assemble(strip, walls, own, out var labels);
            var crossing = CrossingsNear.Find(mesh, EdgeTable.Build(mesh), [.. Enumerable.Range(firstStrip, mesh.TriangleCount - firstStrip)], run);
            if (crossing.Count == 0 && HasFlat(mesh, firstStrip))
                return null;
            if (crossing.Count == 0)
                return SelfIntersections.Find(mesh, run).Pairs.Any(p => p.Contact != Contact.Touching) ? null : new(mesh, labels);
            if (!stitch.TakeMore(mesh, numbers, firstStrip, crossing))
                return null;
        }

        return null;
    }

    private static bool HasFlat(Mesh mesh, int firstStrip)
    {
        for (var t = firstStrip; t < mesh.TriangleCount; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            if (ExactPredicates.Collinear(mesh.Local(a), mesh.Local(b), mesh.Local(c)))
                return true;
        }

        return false;
    }

    private void TakeWall(Bound[] edgeOf, Bound own, double leastRimMm)
    {
        var near = SurfacePoint.None;
        for (var v = 0; v < _surface.VertexCount; v++)
        {
            if (_surface.Bounds[v] == own || (_surface.Moved[v] && edgeOf[v] == own))
            {
                _gone[v] = true;
            }
            else if (_surface.Bounds[v] == Bound.Rim)
            {
                near = _sheet.Tree.NearestLocal(_surface.Position(v), near);
                _gone[v] = near.DistanceMm < leastRimMm;
            }
        }
    }

    private bool Stays(int t) =>
        _keep[t] && !_gone[_surface.Triangles[3 * t]] && !_gone[_surface.Triangles[(3 * t) + 1]] && !_gone[_surface.Triangles[(3 * t) + 2]];

    /// <summary>Triangles between what stays and the sheet; vertices of the surface count from the sheet's number of vertices on.</summary>
    /// <returns>Null when loops and borders do not match one to one.</returns>
    private List<int>? Strip()
    {
        for (var round = 0; round < MostRounds; round++)
        {
            if (Loops() is not { } loops)
                return null;
            var matched = new List<(int[] Loop, double[] Places, int Border)>();
            var loose = new List<int[]>();
            foreach (var loop in loops)
            {
                var vertices = Array.ConvertAll(loop, h => _surface.Triangles[h]);
                if (Match(vertices, out var places) is { } border)
                    matched.Add((vertices, places, border));
                else
                    loose.Add(loop);
            }

            if (loose.Count == 0)
                return Strip(matched);
            if (!TakeScraps(loose, [.. matched.SelectMany(m => m.Loop)]))
                return null;
        }

        return null;
    }

    private List<int>? Strip(List<(int[] Loop, double[] Places, int Border)> matched)
    {
        var strip = new List<int>();
        if (matched.Select(m => m.Border).Distinct().Count() != _borders.Count || matched.Count != _borders.Count)
            return null;
        foreach (var (loop, places, border) in matched)
            if (!Join(loop, places, border, strip))
                return null;
        return strip;
    }

    /// <summary>Takes away small parts that hang on no border: what is left where the extracted wall touched itself.</summary>
    /// <returns>False when such a loop is a hole in a part that stays.</returns>
    private bool TakeScraps(List<int[]> loops, HashSet<int> onBorder)
    {
        foreach (var loop in loops)
        {
            var scrap = new HashSet<int>();
            var waiting = new Stack<int>();
            waiting.Push(loop[0] / 3);
            while (waiting.TryPop(out var t))
            {
                if (!Stays(t) || !scrap.Add(t))
                    continue;
                for (var h = 3 * t; h < (3 * t) + 3; h++)
                {
                    if (scrap.Count > MostScrap || onBorder.Contains(_surface.Triangles[h]))
                        return false;
                    waiting.Push(_opposite[h] / 3);
                }
            }

            foreach (var t in scrap)
                for (var c = 3 * t; c < (3 * t) + 3; c++)
                    _gone[_surface.Triangles[c]] = true;
        }

        return true;
    }

    /// <summary>The ends of what stays; where one touches itself, more is taken away first.</summary>
    private List<int[]>? Loops()
    {
        for (var round = 0; round < MostRounds; round++)
        {
            var stays = new bool[_surface.Triangles.Length / 3];
            for (var t = 0; t < stays.Length; t++)
                stays[t] = Stays(t);
            var open = new int[_opposite.Length];
            for (var h = 0; h < open.Length; h++)
                open[h] = !stays[h / 3] ? EdgeTable.Degenerate : stays[_opposite[h] / 3] ? _opposite[h] : EdgeTable.Boundary;
            var loops = Loops(open, h => open[h] == EdgeTable.Boundary);
            var seen = new HashSet<int>();
            var twice = loops.SelectMany(l => l).Select(h => _surface.Triangles[h]).Where(v => !seen.Add(v)).ToList();
            if (twice.Count == 0)
                return loops;
            foreach (var v in twice)
                _gone[v] = true;
        }

        return null;
    }

    /// <summary>Half-edges without partner, loop by loop, each loop from its lowest.</summary>
    private static List<int[]> Loops(int[] opposite, Func<int, bool> wanted)
    {
        var loops = new List<int[]>();
        var seen = new HashSet<int>();
        for (var first = 0; first < opposite.Length; first++)
        {
            if (opposite[first] != EdgeTable.Boundary || !wanted(first) || seen.Contains(first))
                continue;
            var loop = new List<int>();
            for (var h = first; seen.Add(h);)
            {
                loop.Add(h);
                h = EdgeTable.Next(h);
                while (opposite[h] >= 0)
                    h = EdgeTable.Next(opposite[h]);
            }

            loops.Add([.. loop]);
        }

        return loops;
    }

    /// <summary>The border that a loop runs along once, against it, and where on it each vertex lies nearest.</summary>
    private int? Match(int[] loop, out double[] places)
    {
        places = new double[loop.Length];
        var border = -1;
        for (var i = 0; i < loop.Length; i++)
        {
            var (halfEdge, along) = _sheet.NearestBorder(_surface.Position(loop[i]));
            var place = _placeOf[halfEdge];
            if (border >= 0 && place.Border != border)
                return null;
            border = place.Border;
            places[i] = place.Index + along;
        }

        double n = _borders[border].Vertices.Length, way = 0;
        for (var i = 0; i < places.Length; i++)
        {
            var step = places[(i + 1) % places.Length] - places[i];
            way += step - (n * Math.Round(step / n));
        }

        // A sheet that is turned over runs against its own loops, and the strip against both.
        return Math.Abs(way - (_turned ? n : -n)) < 0.5 ? border : null;
    }

    private bool Join(int[] loop, double[] places, int border, List<int> strip)
    {
        var (c, b) = Started(loop, places, border);
        int n = c.Length - 1, m = b.Length - 1;
        if ((long)(n + 1) * (m + 1) > MostPairs)
            return false;
        var fromLoop = new bool[(n + 1) * (m + 1)];
        var cost = new double[m + 1];
        var (from, to) = (Array.ConvertAll(c, _surface.Position), Array.ConvertAll(b, _sheet.Tree.Mesh.Local));
        for (var i = 0; i <= n; i++)
            for (var j = 0; j <= m; j++)
            {
                var across = (from[i] - to[j]).LengthSquared;
                var alongLoop = i == 0 ? double.PositiveInfinity : cost[j];
                var alongBorder = j == 0 ? double.PositiveInfinity : cost[j - 1];
                fromLoop[(i * (m + 1)) + j] = alongLoop <= alongBorder;
                cost[j] = across + (i == 0 && j == 0 ? 0 : Math.Min(alongLoop, alongBorder));
            }

        var offset = _sheet.Tree.Mesh.VertexCount;
        for (int i = n, j = m; i > 0 || j > 0;)
        {
            if (fromLoop[(i * (m + 1)) + j])
            {
                strip.AddRange([offset + c[i], offset + c[i - 1], b[j]]);
                i--;
            }
            else
            {
                strip.AddRange([b[j - 1], b[j], offset + c[i]]);
                j--;
            }
        }

        return true;
    }

    /// <summary>
    /// Both rings as the strip runs along them, first vertex repeated at the end, begun at the pair that is nearest.
    /// </summary>
    private (int[] Loop, int[] Border) Started(int[] loop, double[] places, int border)
    {
        var ring = _borders[border].Vertices;
        int best = 0, bestVertex = 0;
        var least = double.PositiveInfinity;
        for (var i = 0; i < loop.Length; i++)
        {
            var vertex = (int)Math.Round(places[i]) % ring.Length;
            var distance = (_surface.Position(loop[i]) - _sheet.Tree.Mesh.Local(ring[vertex])).LengthSquared;
            if (distance < least)
                (least, best, bestVertex) = (distance, i, vertex);
        }

        var c = new int[loop.Length + 1];
        for (var i = 0; i < c.Length; i++)
            c[i] = loop[(best + i) % loop.Length];
        var b = new int[ring.Length + 1];
        for (var j = 0; j < b.Length; j++)
            b[j] = ring[(((_turned ? bestVertex + j : bestVertex - j) % ring.Length) + ring.Length) % ring.Length];
        return (c, b);
    }

    /// <summary>The sheet, what stays, the strip.</summary>
    /// <returns>Beside the mesh, the surface's vertex of each vertex behind the sheet's, and the first triangle of the strip.</returns>
    private (Mesh Mesh, int[] Numbers, int FirstStrip) Assemble(List<int> strip, Bound[] walls, Bound own, out Bound[] labels)
    {
        var sheet = _sheet.Tree.Mesh;
        var triangles = new List<int>(sheet.Triangles.Length + _surface.Triangles.Length);
        var marks = new List<Bound>();
        for (var t = 0; t < sheet.TriangleCount; t++)
        {
            var (a, b, c) = sheet.Triangle(t);
            triangles.AddRange(_turned ? [a, c, b] : [a, b, c]);
            marks.Add(own);
        }

        var renumber = new int[_surface.VertexCount];
        Array.Fill(renumber, -1);
        var numbers = new List<int>();
        for (var t = 0; t < walls.Length; t++)
        {
            if (!Stays(t))
                continue;
            for (var c = 3 * t; c < (3 * t) + 3; c++)
            {
                ref var number = ref renumber[_surface.Triangles[c]];
                if (number < 0)
                {
                    number = sheet.VertexCount + numbers.Count;
                    numbers.Add(_surface.Triangles[c]);
                }

                triangles.Add(number);
            }

            marks.Add(walls[t]);
        }

        var firstStrip = marks.Count;
        foreach (var v in strip)
            triangles.Add(v < sheet.VertexCount ? v : renumber[v - sheet.VertexCount]);
        marks.AddRange(Enumerable.Repeat(Bound.Rim, strip.Count / 3));
        var positions = new float[3 * (sheet.VertexCount + numbers.Count)];
        sheet.Positions.CopyTo(positions);
        for (var i = 0; i < numbers.Count; i++)
            _surface.Positions.AsSpan(3 * numbers[i], 3).CopyTo(positions.AsSpan(3 * (sheet.VertexCount + i)));
        var origins = new Origin[marks.Count];
        Array.Fill(origins, Origin.Offset);
        sheet.Origins.CopyTo(origins);
        labels = [.. marks];
        return (new(sheet.OriginMm, positions, [.. triangles], origins), [.. numbers], firstStrip);
    }

    /// <summary>Takes away what the strip is joined to wherever it crosses something.</summary>
    /// <returns>False when a crossing has no part in the strip.</returns>
    private bool TakeMore(Mesh mesh, int[] numbers, int firstStrip, List<TrianglePair> crossing)
    {
        var sheetVertices = _sheet.Tree.Mesh.VertexCount;
        foreach (var pair in crossing)
        {
            if (pair.First < firstStrip && pair.Second < firstStrip)
                return false;
            foreach (var t in (int[])[pair.First, pair.Second])
                for (var c = 3 * t; c < (3 * t) + 3; c++)
                    if (mesh.Triangles[c] >= sheetVertices)
                        _gone[numbers[mesh.Triangles[c] - sheetVertices]] = true;
        }

        return true;
    }
}
