using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Meshing.Surface;

/// <summary>How much of a surface lies in a zone of the images.</summary>
/// <remarks>A triangle counts when the sample nearest to its middle is in the zone. Sums over fixed blocks: same on any thread count.</remarks>
public static class UncertainArea
{
    private const int PieceTriangles = 1 << 15;

    public static (double InZoneMm2, double AllMm2) Measure(Mesh mesh, IndexToPatient map, Region zone, RunContext run)
    {
        var parts = new (double In, double All)[Partition.Pieces(mesh.TriangleCount, PieceTriangles)];
        Partition.Ranges(run, mesh.TriangleCount, PieceTriangles, (piece, from, to) =>
        {
            double inside = 0, all = 0;
            for (var t = from; t < to; t++)
            {
                var area = MeshMeasures.TriangleAreaMm2(mesh, t);
                all += area;
                var (a, b, c) = mesh.Triangle(t);
                var at = map.Invert((mesh.Vertex(a) + mesh.Vertex(b) + mesh.Vertex(c)) / 3);
                int i = Nearest(at.X, zone.Columns), j = Nearest(at.Y, zone.Rows), k = Nearest(at.Z, zone.Slices);
                inside += zone[i, j, k] ? area : 0;
            }

            parts[piece] = (inside, all);
        });
        return (parts.Sum(p => p.In), parts.Sum(p => p.All));
    }

    private static int Nearest(double at, int count) => Math.Clamp((int)Math.Round(at), 0, count - 1);
}
