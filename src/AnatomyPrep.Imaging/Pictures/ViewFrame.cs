using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Imaging.Pictures;

/// <summary>Parallel projection of a mesh onto square pixels; (0, 0) is the top left corner of the top left pixel.</summary>
/// <param name="CenterMm">Patient position shown in the middle of the frame; depth 0.</param>
internal sealed record ViewFrame(ViewDirection View, Vec3 CenterMm, double PixelsPerMm, int Width, int Height)
{
    /// <summary>Extent of a mesh along the view's right and up, and the patient position in the middle of it.</summary>
    internal static (double AcrossMm, double TallMm, Vec3 CenterMm) Extent(Mesh mesh, ViewDirection view, RunContext run)
    {
        const int PieceVertices = 1 << 16;
        var pieces = new (double U0, double U1, double V0, double V1)[Partition.Pieces(mesh.VertexCount, PieceVertices)];
        Partition.Ranges(run, mesh.VertexCount, PieceVertices, (piece, from, to) =>
        {
            double u0 = double.PositiveInfinity, v0 = u0, u1 = double.NegativeInfinity, v1 = u1;
            for (var v = from; v < to; v++)
            {
                var p = mesh.Local(v);
                double u = Vec3.Dot(p, view.Right), w = Vec3.Dot(p, view.Up);
                (u0, u1) = (Math.Min(u0, u), Math.Max(u1, u));
                (v0, v1) = (Math.Min(v0, w), Math.Max(v1, w));
            }

            pieces[piece] = (u0, u1, v0, v1);
        });
        double left = pieces.Min(p => p.U0), right = pieces.Max(p => p.U1), low = pieces.Min(p => p.V0), high = pieces.Max(p => p.V1);
        var bounds = mesh.BoundsMm();
        var depth = Vec3.Dot(bounds.Center - mesh.OriginMm, view.Toward);
        var center = (view.Right * ((left + right) / 2)) + (view.Up * ((low + high) / 2)) + (view.Toward * depth);
        return (right - left, high - low, center + mesh.OriginMm);
    }
}
