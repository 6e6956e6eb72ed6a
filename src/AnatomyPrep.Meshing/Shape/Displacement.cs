using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>How far vertices went, where vertex v of one mesh is vertex v of the other.</summary>
/// <param name="MeanMm">Mean over all vertices, moved or not.</param>
/// <param name="ChangedAreaMm2">Area, after the move, of triangles with a corner that moved.</param>
/// <remarks>Summed in double over fixed blocks, so every thread count gives the same bits. One byte a vertex of memory.</remarks>
public readonly record struct Displacement(double MeanMm, double MaxMm, int MovedVertices, double ChangedAreaMm2)
{
    private const int Block = 1 << 15;

    public static Displacement Measure(Mesh before, Mesh after, RunContext run)
    {
        if (before.VertexCount != after.VertexCount)
            throw new ArgumentException("Vertices do not correspond.", nameof(after));
        var vertices = before.VertexCount;
        var moved = new bool[vertices];
        var pieces = Partition.Pieces(vertices, Block);
        var (sums, maxima, counts) = (new double[pieces], new double[pieces], new int[pieces]);
        var shift = after.OriginMm - before.OriginMm;
        var (p, q) = (before.PositionArray, after.PositionArray);
        Partition.Ranges(run, vertices, Block, (piece, from, to) =>
        {
            double sum = 0, max = 0;
            var count = 0;
            for (var v = from; v < to; v++)
            {
                var dx = (double)q[3 * v] - p[3 * v] + shift.X;
                var dy = (double)q[(3 * v) + 1] - p[(3 * v) + 1] + shift.Y;
                var dz = (double)q[(3 * v) + 2] - p[(3 * v) + 2] + shift.Z;
                var squared = (dx * dx) + (dy * dy) + (dz * dz);
                if (squared == 0)
                    continue;
                moved[v] = true;
                count++;
                sum += Math.Sqrt(squared);
                max = Math.Max(max, squared);
            }

            (sums[piece], maxima[piece], counts[piece]) = (sum, Math.Sqrt(max), count);
        });
        double total = 0, largest = 0;
        var movedVertices = 0;
        for (var i = 0; i < pieces; i++)
        {
            total += sums[i];
            largest = Math.Max(largest, maxima[i]);
            movedVertices += counts[i];
        }

        var area = movedVertices == 0 ? 0 : MeshMeasures.AreaTouchingMm2(after, moved, run);
        return new(vertices == 0 ? 0 : total / vertices, largest, movedVertices, area);
    }

    /// <summary>The effect of a step that only moves vertices.</summary>
    public static StepEffect Effect(Mesh before, Mesh after, RunContext run, IReadOnlyDictionary<string, double>? measures = null)
    {
        var d = Measure(before, after, run);
        return new(
            d.ChangedAreaMm2,
            d.MeanMm,
            d.MaxMm,
            MeshMeasures.SignedVolumeMm3(before, run),
            MeshMeasures.SignedVolumeMm3(after, run),
            measures);
    }
}
