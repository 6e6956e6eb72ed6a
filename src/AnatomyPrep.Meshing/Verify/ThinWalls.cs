using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>Area of walls, and how much of it the images can hardly show.</summary>
/// <param name="ThinMm2">Area of measured triangles with less than the wanted number of samples to the other side.</param>
public sealed record ThinWallSummary(double MeasuredMm2, double ThinMm2);

/// <summary>How many samples lie across the walls of a surface.</summary>
/// <remarks>
/// From the middle of every measured triangle a ray goes straight in until it leaves the solid; its length is counted in samples
/// of the volume along its direction, so that thick slices make a lying wall thin and a standing one not. A wall of fewer than two
/// samples may be there in one scan and gone in the next. The ray starts a little inside, so that it does not meet its own triangle.
/// Cost: one tree, one ray a triangle; memory: as <see cref="TriangleTree"/> and 8 bytes a triangle.
/// </remarks>
public static class ThinWalls
{
    private const int PieceTriangles = 1 << 13;
    private const double StartMm = 1e-4;

    /// <param name="samples">Walls of fewer samples count as thin.</param>
    /// <exception cref="OperationCanceledException">Asked once per 8,192 triangles.</exception>
    public static ThinWallSummary Measure(Mesh mesh, IndexToPatient map, double samples, RunContext run)
    {
        var tree = TriangleTree.Build(mesh, run);
        var pieces = Partition.Pieces(mesh.TriangleCount, PieceTriangles);
        var found = new (double All, double Thin)[pieces];
        Partition.Ranges(run, mesh.TriangleCount, PieceTriangles, (piece, from, to) =>
        {
            double all = 0, thin = 0;
            for (var t = from; t < to; t++)
            {
                if (mesh.Origins[t] != Origin.Measured)
                    continue;
                var (a, b, c) = mesh.Triangle(t);
                Vec3 p = mesh.Vertex(a), q = mesh.Vertex(b), r = mesh.Vertex(c);
                var n = Vec3.Cross(q - p, r - p);
                var area = n.Length / 2;
                if (area == 0)
                    continue;
                all += area;
                var inward = n / -n.Length;
                var middle = (p + q + r) / 3;
                var perMm = SamplesPerMm(map, middle, inward);
                if (tree.FirstHit(middle, inward, StartMm, samples / perMm, out _))
                    thin += area;
            }

            found[piece] = (all, thin);
        });
        return new(found.Sum(f => f.All), found.Sum(f => f.Thin));
    }

    private static double SamplesPerMm(IndexToPatient map, Vec3 at, Vec3 direction)
    {
        // The map is affine between two slices: a short step stays within them, or crosses into one of nearly the same spacing.
        const double Short = 1e-3;
        return (map.Invert(at + (direction * Short)) - map.Invert(at)).Length / Short;
    }
}
