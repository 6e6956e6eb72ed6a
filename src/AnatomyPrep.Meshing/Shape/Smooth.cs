using System.Runtime.Intrinsics;
using System.Runtime.Intrinsics.X86;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>Smoothing without shrinking.</summary>
/// <param name="Iterations">Each is one pass inward by Lambda and one outward by Mu.</param>
/// <param name="Lambda">Share of the way to the neighbours' mean, 0 to 1.</param>
/// <param name="Mu">Share of the way back, negative, a little larger than Lambda.</param>
/// <param name="MaxDisplacementMm">No vertex ends farther than this from where it was.</param>
/// <param name="PinBoundary">Border vertices stay; otherwise they are smoothed along the border only.</param>
/// <param name="PinRims">Vertices between triangles of different origin stay, so that cuts stay flat and fillings stay apart.</param>
public sealed record SmoothParameters(
    int Iterations = 10,
    double Lambda = 0.33,
    double Mu = -0.34,
    double? MaxDisplacementMm = null,
    bool PinBoundary = true,
    bool PinRims = true);

/// <summary>Removes noise and voxel steps while the volume stays.</summary>
/// <remarks>
/// Method: Taubin, "A signal processing approach to fair surface design", SIGGRAPH 1995: p ← p + λ·Δp, then p ← p + μ·Δp,
///   Δ the umbrella operator (mean of the neighbours less the vertex). Transfer per iteration (1 − λk)(1 − μk), k in [0, 2];
///   frequencies below 1/λ + 1/μ grow a little, so a sphere grows: +0.08 % of its volume in 10 iterations at the defaults.
/// Differs: a stated bound on displacement is kept after every iteration, not only at the end.
/// Shapes: positions float32 x, y, z, 0; sums and products in double, one rounding to float32 a pass.
/// Cost: 2 · Iterations · O(triangles), 6 reads a vertex a pass; peak 32 bytes a vertex and 24 a triangle beyond the mesh.
/// Same bytes on any thread count and with or without AVX: Jacobi passes, neighbours added in a fixed order.
/// </remarks>
public static class Smooth
{
    private const string Step = "smooth";

    /// <exception cref="PlanException">A parameter is outside its range; see docs/methods/shape.md for the limits.</exception>
    /// <exception cref="OperationCanceledException">Asked once per pass.</exception>
    public static ShapeResult Apply(Mesh mesh, SmoothParameters parameters, RunContext run)
    {
        Validate(parameters);
        var bound = DisplacementBound.Of(mesh, parameters.MaxDisplacementMm, Step);
        var rings = VertexRings.Build(mesh, run);
        var irregular = rings.IrregularRings(mesh);
        var pinned = PinnedVertices.Mark(mesh, rings, irregular, parameters.PinBoundary, parameters.PinRims);
        var grouped = GroupedRings.Build(rings, irregular, pinned, run);
        using var passes = new Passes(mesh, grouped, bound, run);
        for (var i = 0; i < parameters.Iterations; i++)
        {
            run.Report(Step, "passes", (double)i / parameters.Iterations);
            passes.Step(parameters.Lambda, bounded: false);
            passes.Step(parameters.Mu, bounded: true);
        }

        var smooth = passes.Result();
        run.Report(Step, "passes", 1);
        var measures = new SortedDictionary<string, double>(StringComparer.Ordinal)
        {
            ["pinnedVertices"] = pinned.Count(p => p),
            ["vertices"] = mesh.VertexCount,
        };
        return new(smooth, Displacement.Effect(mesh, smooth, run, measures), []);
    }

    private static void Validate(SmoothParameters p)
    {
        if (p.Iterations is < 0 or > 10_000)
            throw Wrong("iterations", p.Iterations, "0 to 10000");
        if (!(p.Lambda > 0 && p.Lambda <= 1))
            throw Wrong("lambda", p.Lambda, "above 0, at most 1");
        // The highest frequency, k = 2, must not grow: |(1 − 2λ)(1 − 2μ)| ≤ 1.
        if (!(p.Mu <= 0) || Math.Abs((1 - (2 * p.Lambda)) * (1 - (2 * p.Mu))) > 1)
            throw Wrong("mu", p.Mu, "at most 0, with |(1 - 2 lambda)(1 - 2 mu)| at most 1");
    }

    private static PlanException Wrong(string parameter, double value, string allowed) =>
        new(Step, null, parameter, Placement.Text(value), allowed);

    /// <summary>Two copies of the positions, four floats a vertex, that change places after every pass.</summary>
    private sealed class Passes : IDisposable
    {
        private readonly Mesh _mesh;
        private readonly GroupedRings _rings;
        private readonly RunContext _run;
        private readonly DisplacementBound _bound;
        private NativeBuffer<float> _from;
        private NativeBuffer<float> _to;

        internal Passes(Mesh mesh, GroupedRings rings, DisplacementBound bound, RunContext run)
        {
            (_mesh, _rings, _bound, _run) = (mesh, rings, bound, run);
            _from = new(4L * mesh.VertexCount);
            _to = new(4L * mesh.VertexCount);
            Load();
        }

        public void Dispose()
        {
            _from.Dispose();
            _to.Dispose();
        }

        internal unsafe void Step(double share, bool bounded)
        {
            var (from, to) = (_from, _to);
            bounded &= _bound.IsSet;
            Partition.For(_run, _rings.Chunks.Length, c =>
            {
                foreach (var group in _rings.Chunks[c])
                {
                    if (Avx.IsSupported)
                        AverageAvx(group, from.Pointer, to.Pointer, share);
                    else
                        Average(group, from.Pointer, to.Pointer, share);
                    if (bounded)
                        HoldBack(group, to.Pointer);
                }
            });
            (_from, _to) = (_to, _from);
        }

        internal Mesh Result()
        {
            var positions = new float[3 * _mesh.VertexCount];
            Partition.Ranges(_run, _mesh.VertexCount, 1 << 15, (_, first, end) =>
            {
                var source = _from.Span(4L * first, 4 * (end - first));
                for (var v = first; v < end; v++)
                    source.Slice(4 * (v - first), 3).CopyTo(positions.AsSpan(3 * v, 3));
            });
            return new(_mesh.OriginMm, positions, _mesh.TriangleArray, _mesh.OriginArray);
        }

        private unsafe void Load()
        {
            Partition.Ranges(_run, _mesh.VertexCount, 1 << 15, (_, first, end) =>
            {
                var p = _mesh.PositionArray;
                for (var v = first; v < end; v++)
                {
                    var at = Vector128.Create(p[3 * v], p[(3 * v) + 1], p[(3 * v) + 2], 0);
                    at.Store(_from.Pointer + (4L * v));
                    at.Store(_to.Pointer + (4L * v));
                }
            });
        }

        private unsafe void Average(GroupedRings.Group group, float* from, float* to, double share)
        {
            var inverse = 1.0 / group.Degree;
            fixed (int* order = _rings.Order, neighbours = _rings.Neighbours)
            {
                var n = neighbours + group.List;
                for (var i = group.First; i < group.First + group.Count; i++)
                {
                    double x = 0, y = 0, z = 0;
                    for (var end = n + group.Degree; n < end; n++)
                    {
                        var q = from + (4L * *n);
                        x += q[0];
                        y += q[1];
                        z += q[2];
                    }

                    var v = 4L * order[i];
                    to[v] = (float)(from[v] + (((x * inverse) - from[v]) * share));
                    to[v + 1] = (float)(from[v + 1] + (((y * inverse) - from[v + 1]) * share));
                    to[v + 2] = (float)(from[v + 2] + (((z * inverse) - from[v + 2]) * share));
                }
            }
        }

        /// <summary>Lanes x, y, z, 0 in double; the same operations in the same order as <see cref="Average"/>.</summary>
        private unsafe void AverageAvx(GroupedRings.Group group, float* from, float* to, double share)
        {
            var degree = group.Degree;
            var inverse = Vector256.Create(1.0 / degree);
            var shares = Vector256.Create(share);
            fixed (int* order = _rings.Order, neighbours = _rings.Neighbours)
            {
                var n = neighbours + group.List;
                for (var i = group.First; i < group.First + group.Count; i++)
                {
                    var sum = Vector256<double>.Zero;
                    for (var end = n + degree; n < end; n++)
                        sum += Avx.ConvertToVector256Double(Vector128.Load(from + (4L * *n)));
                    var v = 4L * order[i];
                    var p = Avx.ConvertToVector256Double(Vector128.Load(from + v));
                    Avx.ConvertToVector128Single(p + (((sum * inverse) - p) * shares)).Store(to + v);
                }
            }
        }

        private unsafe void HoldBack(GroupedRings.Group group, float* to)
        {
            for (var i = group.First; i < group.First + group.Count; i++)
            {
                var v = _rings.Order[i];
                var q = to + (4L * v);
                _bound.Hold(v, ref q[0], ref q[1], ref q[2]);
            }
        }
    }
}
