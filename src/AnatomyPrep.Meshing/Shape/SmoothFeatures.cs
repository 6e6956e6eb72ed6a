using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>Smoothing that keeps edges.</summary>
/// <param name="NormalIterations">Rounds of filtering the triangles' normals.</param>
/// <param name="VertexIterations">Rounds of moving the vertices to fit the filtered normals.</param>
/// <param name="FeatureAngleDeg">Bends well below this are noise, bends well above it are edges.</param>
/// <param name="MaxDisplacementMm">No vertex ends farther than this from where it was.</param>
/// <param name="PinBoundary">Border vertices stay.</param>
/// <param name="PinRims">Vertices between triangles of different origin stay.</param>
public sealed record SmoothFeaturesParameters(
    int NormalIterations = 8,
    int VertexIterations = 12,
    double FeatureAngleDeg = 25,
    double? MaxDisplacementMm = null,
    bool PinBoundary = true,
    bool PinRims = true);

/// <summary>Removes noise while sutures, rims and teeth keep their edges.</summary>
/// <remarks>
/// Method: bilateral filtering of normals in its local, repeated form: Zheng, Fu, Au, Tai, "Bilateral normal filtering for
///   mesh denoising", IEEE TVCG 17(10), 2011, section 3.1; neighbours share a vertex. Vertices follow by Sun, Rosin, Martin,
///   Langbein, "Fast and effective feature-preserving mesh denoising", IEEE TVCG 13(5), 2007, equation 10.
/// Differs: the Gaussian exp(−x) is (1 − x/8)^8 for x below 8 and 0 beyond, which needs no library function and is
///   the same on every machine. The width in space is the mean distance between neighbouring centres of the input.
/// Shapes: unit normals and centres float32 per triangle, one area double; sums in double.
/// Gives: same triangles, moved vertices. Volume is kept in practice but not by construction: see the effect.
/// Cost: O(triangles) a round, about 13 neighbours each; peak 60 bytes a triangle and 24 a vertex beyond the mesh.
/// Same bytes on any thread count: Jacobi rounds, neighbours in a fixed order.
/// </remarks>
public static class SmoothFeatures
{
    private const string Step = "smooth-features";
    private const int Block = 1 << 13;

    /// <exception cref="PlanException">A parameter is outside its range.</exception>
    /// <exception cref="OperationCanceledException">Asked once per block of triangles.</exception>
    public static ShapeResult Apply(Mesh mesh, SmoothFeaturesParameters parameters, RunContext run)
    {
        Validate(parameters);
        var bound = DisplacementBound.Of(mesh, parameters.MaxDisplacementMm, Step);
        var rings = VertexRings.Build(mesh, run);
        var pinned = PinnedVertices.Mark(mesh, rings, rings.IrregularRings(mesh), parameters.PinBoundary, parameters.PinRims);
        var filter = new Filter(mesh, pinned, bound, run);
        filter.FilterNormals(parameters.NormalIterations, parameters.FeatureAngleDeg);
        filter.MoveVertices(parameters.VertexIterations);
        var smooth = new Mesh(mesh.OriginMm, filter.Positions, mesh.TriangleArray, mesh.OriginArray);
        var measures = new SortedDictionary<string, double>(StringComparer.Ordinal)
        {
            ["pinnedVertices"] = pinned.Count(p => p),
            ["vertices"] = mesh.VertexCount,
        };
        return new(smooth, Displacement.Effect(mesh, smooth, run, measures), []);
    }

    private static void Validate(SmoothFeaturesParameters p)
    {
        if (p.NormalIterations is < 0 or > 1000)
            throw Wrong("normalIterations", p.NormalIterations, "0 to 1000");
        if (p.VertexIterations is < 0 or > 1000)
            throw Wrong("vertexIterations", p.VertexIterations, "0 to 1000");
        if (!(p.FeatureAngleDeg > 0 && p.FeatureAngleDeg <= 180))
            throw Wrong("featureAngleDeg", p.FeatureAngleDeg, "above 0, at most 180");
    }

    private static PlanException Wrong(string parameter, double value, string allowed) =>
        new(Step, null, parameter, Placement.Text(value), allowed);

    private sealed class Filter
    {
        private readonly RunContext _run;
        private readonly int[] _corners;
        private readonly VertexTriangles _at;
        private readonly bool[] _pinned;
        private readonly DisplacementBound _bound;
        private readonly float[] _centers;
        private readonly double[] _areas;
        private float[] _normals;

        internal Filter(Mesh mesh, bool[] pinned, DisplacementBound bound, RunContext run)
        {
            (_run, _corners, _pinned, _bound) = (run, mesh.TriangleArray, pinned, bound);
            _at = VertexTriangles.Of(mesh, run);
            Positions = [.. mesh.PositionArray];
            _centers = new float[_corners.Length];
            _normals = new float[_corners.Length];
            _areas = new double[mesh.TriangleCount];
            Measure();
        }

        internal float[] Positions { get; private set; }

        private int Triangles => _areas.Length;

        internal void FilterNormals(int rounds, double featureAngleDeg)
        {
            var distance = MeanCenterDistance();
            // Both exponents carry the 1/8 of the kernel.
            var inSpace = 1 / (16 * Math.Max(distance * distance, double.Epsilon));
            var inNormals = 1 / (32 * (1 - Math.Cos(featureAngleDeg * (Math.PI / 180))));
            var to = new float[_normals.Length];
            for (var round = 0; round < rounds; round++)
            {
                _run.Report(Step, "normals", (double)round / rounds);
                Partition.Ranges(_run, Triangles, Block, (_, first, end) =>
                {
                    for (var t = first; t < end; t++)
                        FilterNormal(t, inSpace, inNormals, to);
                });
                (_normals, to) = (to, _normals);
            }
        }

        internal void MoveVertices(int rounds)
        {
            for (var round = 0; round < rounds; round++)
            {
                _run.Report(Step, "vertices", (double)round / rounds);
                Partition.Ranges(_run, Triangles, Block, (_, first, end) =>
                {
                    for (var t = first; t < end; t++)
                        SetCenter(t);
                });
                var to = new float[Positions.Length];
                Partition.Ranges(_run, _pinned.Length, Block, (_, first, end) =>
                {
                    for (var v = first; v < end; v++)
                        MoveVertex(v, to);
                });
                Positions = to;
            }
        }

        private void Measure() => Partition.Ranges(_run, Triangles, Block, (_, first, end) =>
        {
            for (var t = first; t < end; t++)
            {
                SetCenter(t);
                SetNormal(t);
            }
        });

        private void SetCenter(int t)
        {
            int a = 3 * _corners[3 * t], b = 3 * _corners[(3 * t) + 1], c = 3 * _corners[(3 * t) + 2];
            for (var i = 0; i < 3; i++)
                _centers[(3 * t) + i] = (float)(((double)Positions[a + i] + Positions[b + i] + Positions[c + i]) / 3);
        }

        private void SetNormal(int t)
        {
            int a = 3 * _corners[3 * t], b = 3 * _corners[(3 * t) + 1], c = 3 * _corners[(3 * t) + 2];
            double ux = (double)Positions[b] - Positions[a], uy = (double)Positions[b + 1] - Positions[a + 1], uz = (double)Positions[b + 2] - Positions[a + 2];
            double vx = (double)Positions[c] - Positions[a], vy = (double)Positions[c + 1] - Positions[a + 1], vz = (double)Positions[c + 2] - Positions[a + 2];
            double x = (uy * vz) - (uz * vy), y = (uz * vx) - (ux * vz), z = (ux * vy) - (uy * vx);
            var length = Math.Sqrt((x * x) + (y * y) + (z * z));
            _areas[t] = length / 2;
            var scale = length > 0 ? 1 / length : 0;
            (_normals[3 * t], _normals[(3 * t) + 1], _normals[(3 * t) + 2]) = ((float)(x * scale), (float)(y * scale), (float)(z * scale));
        }

        private double MeanCenterDistance()
        {
            var pieces = Partition.Pieces(Triangles, Block);
            var (sums, counts) = (new double[pieces], new long[pieces]);
            Partition.Ranges(_run, Triangles, Block, (piece, first, end) =>
            {
                for (var t = first; t < end; t++)
                    for (var corner = 0; corner < 3; corner++)
                        foreach (var at in _at.CornersAt(_corners[(3 * t) + corner]))
                        {
                            var other = at / 3;
                            if (other <= t || SeenBefore(t, corner, other))
                                continue;
                            sums[piece] += Math.Sqrt(CenterDistanceSquared(t, other));
                            counts[piece]++;
                        }
            });
            double sum = 0;
            long count = 0;
            for (var i = 0; i < pieces; i++)
                (sum, count) = (sum + sums[i], count + counts[i]);
            return count == 0 ? 0 : sum / count;
        }

        private void FilterNormal(int t, double inSpace, double inNormals, float[] to)
        {
            double nx = _normals[3 * t], ny = _normals[(3 * t) + 1], nz = _normals[(3 * t) + 2];
            double x = nx * _areas[t], y = ny * _areas[t], z = nz * _areas[t];
            for (var corner = 0; corner < 3; corner++)
                foreach (var at in _at.CornersAt(_corners[(3 * t) + corner]))
                {
                    var other = at / 3;
                    if (other == t || SeenBefore(t, corner, other))
                        continue;
                    double ox = _normals[3 * other], oy = _normals[(3 * other) + 1], oz = _normals[(3 * other) + 2];
                    double dx = ox - nx, dy = oy - ny, dz = oz - nz;
                    var apart = 1 - (CenterDistanceSquared(t, other) * inSpace) - (((dx * dx) + (dy * dy) + (dz * dz)) * inNormals);
                    if (apart <= 0)
                        continue;
                    apart *= apart;
                    apart *= apart;
                    var weight = _areas[other] * apart * apart;
                    (x, y, z) = (x + (ox * weight), y + (oy * weight), z + (oz * weight));
                }

            var length = Math.Sqrt((x * x) + (y * y) + (z * z));
            if (length > 0)
                (nx, ny, nz) = (x / length, y / length, z / length);
            (to[3 * t], to[(3 * t) + 1], to[(3 * t) + 2]) = ((float)nx, (float)ny, (float)nz);
        }

        private double CenterDistanceSquared(int t, int other)
        {
            double dx = (double)_centers[3 * t] - _centers[3 * other];
            double dy = (double)_centers[(3 * t) + 1] - _centers[(3 * other) + 1];
            double dz = (double)_centers[(3 * t) + 2] - _centers[(3 * other) + 2];
            return (dx * dx) + (dy * dy) + (dz * dz);
        }

        /// <summary>Whether the other triangle already met this one at an earlier corner.</summary>
        private bool SeenBefore(int t, int corner, int other)
        {
            int a = _corners[3 * other], b = _corners[(3 * other) + 1], c = _corners[(3 * other) + 2];
            for (var i = 0; i < corner; i++)
            {
                var v = _corners[(3 * t) + i];
                if (v == a || v == b || v == c)
                    return true;
            }

            return false;
        }

        private void MoveVertex(int v, float[] to)
        {
            float x = Positions[3 * v], y = Positions[(3 * v) + 1], z = Positions[(3 * v) + 2];
            var around = _at.CornersAt(v);
            if (!_pinned[v] && !around.IsEmpty)
            {
                double mx = 0, my = 0, mz = 0;
                foreach (var at in around)
                {
                    var t = at / 3;
                    double nx = _normals[3 * t], ny = _normals[(3 * t) + 1], nz = _normals[(3 * t) + 2];
                    var along = (nx * ((double)_centers[3 * t] - x)) + (ny * ((double)_centers[(3 * t) + 1] - y)) + (nz * ((double)_centers[(3 * t) + 2] - z));
                    (mx, my, mz) = (mx + (nx * along), my + (ny * along), mz + (nz * along));
                }

                (x, y, z) = ((float)(x + (mx / around.Length)), (float)(y + (my / around.Length)), (float)(z + (mz / around.Length)));
                if (_bound.IsSet)
                    _bound.Hold(v, ref x, ref y, ref z);
            }

            (to[3 * v], to[(3 * v) + 1], to[(3 * v) + 2]) = (x, y, z);
        }
    }
}
