using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Shapes the inside of a refined patch so that it continues its surroundings.</summary>
/// <remarks>
/// Three stages, each starting from the one before:
/// membrane: uniform Laplacian, which unfolds the patch;
/// thin plate: the squared cotangent Laplacian is least over the patch and its rim, with the surroundings as they are
/// (Botsch and Kobbelt, "An intuitive framework for real-time freeform modeling", 2004; the discrete operator after
/// Meyer, Desbrun, Schröder, Barr 2003), which joins on without a crease;
/// curved: the Laplacian is not driven to zero but to twice the mean curvature that the surroundings have, carried
/// inward by a harmonic function (Schneider and Kobbelt, "Geometric fairing of irregular meshes", 2001), so that a
/// hole in a sphere becomes the sphere again. Normals and weights follow the shape in a few rounds.
/// Positions of the rim and of the surroundings never change.
/// One sparse Cholesky factor a round; n new vertices: about n^1.5 time, 12 n log n entries of 12 bytes.
/// </remarks>
internal sealed class PatchFairing
{
    private const double CotangentLimit = 20;
    private const int CurvedRounds = 16;

    // Rounds shrink by a factor of at most 0.6 up to a half sphere, so what is left is at most 1.5 times the last step.
    private const double SettledShare = 5e-4;

    private readonly int _first;
    private readonly int _inner;
    private readonly double _diameterMm;
    private readonly Vec3[] _points;
    private readonly (int A, int B, int C)[] _triangles;
    private readonly int[][] _neighbours;
    private readonly double[][] _weights;
    private readonly double[] _area;
    private readonly bool[] _hasRow;
    private readonly int[] _slots;
    private SymmetricMatrix? _plate;

    /// <param name="points">Rim, then the vertices that are to be shaped, then what else the triangles use.</param>
    /// <param name="triangles">The patch and at least the triangles that touch its rim from outside.</param>
    /// <param name="first">Number of rim vertices.</param>
    /// <param name="inner">Number of vertices that are to be shaped.</param>
    public PatchFairing(Vec3[] points, (int A, int B, int C)[] triangles, int first, int inner, double diameterMm)
    {
        _first = first;
        _inner = inner;
        _diameterMm = diameterMm;
        _points = points;
        _triangles = triangles;
        _neighbours = FindNeighbours();
        _hasRow = FindRows();
        _weights = Array.ConvertAll(_neighbours, n => new double[n.Length]);
        _area = new double[_points.Length];
        _slots = FindSlots();
    }

    public static PatchFairing Of(PatchMesh patch, HoleRim rim)
    {
        var inner = patch.Points.Count - rim.Count;
        int Shift(int v) => v < rim.Count ? v : v + inner;
        return new(
            [.. patch.Points, .. rim.RingPoints],
            [.. Enumerable.Range(0, patch.TriangleCount).Select(patch.Triangle), .. rim.Ring.Select(t => (Shift(t.A), Shift(t.B), Shift(t.C)))],
            rim.Count,
            inner,
            rim.DiameterMm);
    }

    /// <summary>New vertices where each is the mean of its neighbours, or null when the system is singular.</summary>
    public Vec3[]? Membrane(RunContext run)
    {
        run.ThrowIfCancelled();
        return _inner == 0 ? [] : SolveMembrane() ? InnerPoints() : null;
    }

    /// <summary>New vertices in the thin-plate shape, or null when the system is singular.</summary>
    public Vec3[]? ThinPlate(RunContext run)
    {
        if (_inner == 0)
            return [];
        run.ThrowIfCancelled();
        if (!SolveMembrane())
            return null;
        _plate = new SymmetricMatrix(PlatePattern(), InnerPoints());
        SetCotangentWeights();
        if (!FactorPlate(_plate))
            return null;
        SolvePlate(_plate, null);
        return InnerPoints();
    }

    /// <summary>
    /// New vertices in the curved shape; to be asked after <see cref="ThinPlate"/>. Null when the rounds do not settle or
    /// leave the plate by more than half the hole's diameter.
    /// </summary>
    public Vec3[]? Curved(double[] rimCurvature, RunContext run)
    {
        if (_inner == 0)
            return [];
        var flat = InnerPoints();
        var curvature = CarryInward(rimCurvature);
        if (curvature is null)
            return null;
        var lastMm = double.PositiveInfinity;
        for (var round = 0; round < CurvedRounds; round++)
        {
            run.ThrowIfCancelled();
            SetCotangentWeights();
            if (!FactorPlate(_plate!))
                return null;
            var before = InnerPoints();
            SolvePlate(_plate!, curvature);
            var movedMm = LargestStep(before);
            if (!(movedMm < double.PositiveInfinity) || LargestStep(flat) > _diameterMm / 2)
                return null;
            if (movedMm < SettledShare * _diameterMm)
                return InnerPoints();
            if (round > 3 && movedMm > lastMm)
                return null;
            lastMm = movedMm;
        }

        return lastMm < 20 * SettledShare * _diameterMm ? InnerPoints() : null;
    }

    private bool IsInner(int v) => v >= _first && v < _first + _inner;

    private Vec3[] InnerPoints() => _points[_first..(_first + _inner)];

    private int[][] FindNeighbours()
    {
        var neighbours = new List<int>[_points.Length];
        for (var v = 0; v < neighbours.Length; v++)
            neighbours[v] = [];
        foreach (var (a, b, c) in _triangles)
        {
            Add(a, b);
            Add(b, c);
            Add(c, a);
        }

        return Array.ConvertAll(neighbours, n => n.ToArray());

        void Add(int u, int v)
        {
            if (!neighbours[u].Contains(v))
                neighbours[u].Add(v);
            if (!neighbours[v].Contains(u))
                neighbours[v].Add(u);
        }
    }

    // A vertex has a Laplacian when triangles close around it: as many triangles as neighbours.
    private bool[] FindRows()
    {
        var triangles = new int[_points.Length];
        foreach (var (a, b, c) in _triangles)
        {
            triangles[a]++;
            triangles[b]++;
            triangles[c]++;
        }

        var hasRow = new bool[_points.Length];
        for (var v = 0; v < _first + _inner; v++)
            hasRow[v] = triangles[v] == _neighbours[v].Length;
        return hasRow;
    }

    // Where each triangle's three edges stand in the rows of their two ends.
    private int[] FindSlots()
    {
        var slots = new int[6 * _triangles.Length];
        for (var t = 0; t < _triangles.Length; t++)
        {
            var (a, b, c) = _triangles[t];
            slots[6 * t] = Array.IndexOf(_neighbours[b], c);
            slots[(6 * t) + 1] = Array.IndexOf(_neighbours[c], b);
            slots[(6 * t) + 2] = Array.IndexOf(_neighbours[c], a);
            slots[(6 * t) + 3] = Array.IndexOf(_neighbours[a], c);
            slots[(6 * t) + 4] = Array.IndexOf(_neighbours[a], b);
            slots[(6 * t) + 5] = Array.IndexOf(_neighbours[b], a);
        }

        return slots;
    }

    private void SetCotangentWeights()
    {
        foreach (var row in _weights)
            Array.Clear(row);
        Array.Clear(_area);
        for (var t = 0; t < _triangles.Length; t++)
        {
            var (a, b, c) = _triangles[t];
            AddCorner(a, b, c, 6 * t);
            AddCorner(b, c, a, (6 * t) + 2);
            AddCorner(c, a, b, (6 * t) + 4);
        }
    }

    // Half the cotangent at the apex on the opposite edge, and the apex's share of the area: Voronoi, or in an obtuse
    // triangle half at the obtuse corner and a quarter at the others (Meyer et al.).
    private void AddCorner(int apex, int u, int v, int slot)
    {
        Vec3 p = _points[u] - _points[apex], q = _points[v] - _points[apex];
        var doubleArea = Vec3.Cross(p, q).Length;
        double along = Vec3.Dot(p, q), atU = Vec3.Dot(-p, q - p), atV = Vec3.Dot(-q, p - q);
        var weight = Cotangent(along, doubleArea) / 2;
        _weights[u][_slots[slot]] += weight;
        _weights[v][_slots[slot + 1]] += weight;
        _area[apex] += along < 0 ? doubleArea / 4
            : atU < 0 || atV < 0 ? doubleArea / 8
            : ((p.LengthSquared * Cotangent(atV, doubleArea)) + (q.LengthSquared * Cotangent(atU, doubleArea))) / 8;
    }

    private static double Cotangent(double dot, double doubleArea) =>
        doubleArea > 0 ? Math.Clamp(dot / doubleArea, -CotangentLimit, CotangentLimit) : Math.CopySign(CotangentLimit, dot);

    private bool SolveMembrane()
    {
        var matrix = new SymmetricMatrix(InnerNeighbours(), InnerPoints());
        var right = new Vec3[_inner];
        for (var i = 0; i < _inner; i++)
        {
            matrix.Add(i, i, _neighbours[_first + i].Length);
            foreach (var n in _neighbours[_first + i])
            {
                if (!IsInner(n))
                    right[i] += _points[n];
                else if (n - _first < i)
                    matrix.Add(i, n - _first, -1);
            }
        }

        if (!matrix.Factor())
            return false;
        matrix.Solve(right);
        right.CopyTo(_points, _first);
        return true;
    }

    private double[]? CarryInward(double[] rimCurvature)
    {
        var matrix = new SymmetricMatrix(InnerNeighbours(), InnerPoints());
        var right = new Vec3[_inner];
        for (var i = 0; i < _inner; i++)
        {
            for (var k = 0; k < _neighbours[_first + i].Length; k++)
            {
                var n = _neighbours[_first + i][k];
                // Only positive weights keep a harmonic function between its border values.
                var w = Math.Max(_weights[_first + i][k], 0.05);
                matrix.Add(i, i, w);
                if (!IsInner(n))
                    right[i] += new Vec3(rimCurvature[n], 0, 0) * w;
                else if (n - _first < i)
                    matrix.Add(i, n - _first, -w);
            }
        }

        if (!matrix.Factor())
            return null;
        matrix.Solve(right);
        return [.. rimCurvature, .. right.Select(r => r.X)];
    }

    private int[][] InnerNeighbours()
    {
        var pattern = new int[_inner][];
        for (var i = 0; i < _inner; i++)
            pattern[i] = [.. _neighbours[_first + i].Where(IsInner).Select(n => n - _first)];
        return pattern;
    }

    private int[][] PlatePattern()
    {
        var pattern = new int[_inner][];
        var mark = new int[_points.Length];
        var found = new List<int>();
        for (var i = 0; i < _inner; i++)
        {
            found.Clear();
            var v = _first + i;
            mark[v] = i + 1;
            Visit(v);
            foreach (var r in _neighbours[v])
                Visit(r);
            pattern[i] = [.. found];

            void Visit(int row)
            {
                if (!_hasRow[row])
                    return;
                Take(row);
                foreach (var n in _neighbours[row])
                    Take(n);
            }

            void Take(int n)
            {
                if (!IsInner(n) || mark[n] == i + 1)
                    return;
                mark[n] = i + 1;
                found.Add(n - _first);
            }
        }

        return pattern;
    }

    private bool FactorPlate(SymmetricMatrix matrix)
    {
        matrix.Clear();
        for (var r = 0; r < _first + _inner; r++)
        {
            if (!_hasRow[r])
                continue;
            var scale = 1 / Math.Max(_area[r], double.Epsilon);
            double sum = 0;
            foreach (var w in _weights[r])
                sum += w;
            for (var p = -1; p < _neighbours[r].Length; p++)
            {
                var (i, wi) = Term(r, p, sum);
                if (!IsInner(i))
                    continue;
                for (var q = p; q < _neighbours[r].Length; q++)
                {
                    var (j, wj) = Term(r, q, sum);
                    if (IsInner(j))
                        matrix.Add(i - _first, j - _first, wi * wj * scale);
                }
            }
        }

        return matrix.Factor();
    }

    private (int Vertex, double Weight) Term(int row, int p, double sum) => p < 0 ? (row, -sum) : (_neighbours[row][p], _weights[row][p]);

    /// <param name="curvature">Wanted mean curvature of rim and new vertices; null means flat.</param>
    private void SolvePlate(SymmetricMatrix matrix, double[]? curvature)
    {
        var normals = curvature is null ? null : VertexNormals();
        var right = new Vec3[_inner];
        for (var r = 0; r < _first + _inner; r++)
        {
            if (!_hasRow[r])
                continue;
            double sum = 0;
            foreach (var w in _weights[r])
                sum += w;
            // Laplacian of an outward-bulging surface points inward: -2 H n per area.
            var known = normals is null ? Vec3.Zero : normals[r] * (2 * curvature![r] * _area[r]);
            for (var p = -1; p < _neighbours[r].Length; p++)
            {
                var (j, w) = Term(r, p, sum);
                if (!IsInner(j))
                    known += _points[j] * w;
            }

            var scale = 1 / Math.Max(_area[r], double.Epsilon);
            for (var p = -1; p < _neighbours[r].Length; p++)
            {
                var (i, w) = Term(r, p, sum);
                if (IsInner(i))
                    right[i - _first] -= known * (w * scale);
            }
        }

        matrix.Solve(right);
        right.CopyTo(_points, _first);
    }

    private Vec3[] VertexNormals()
    {
        var normals = new Vec3[_points.Length];
        foreach (var (a, b, c) in _triangles)
        {
            var n = Vec3.Cross(_points[b] - _points[a], _points[c] - _points[a]);
            normals[a] += n;
            normals[b] += n;
            normals[c] += n;
        }

        return Array.ConvertAll(normals, n => n.Normalized());
    }

    private double LargestStep(Vec3[] before)
    {
        double largest = 0;
        for (var i = 0; i < _inner; i++)
        {
            var step = Vec3.Distance(before[i], _points[_first + i]);
            if (!(step <= largest))
                largest = step;
        }

        return largest;
    }
}
