using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Imaging.Pictures;

/// <summary>Which part of a plane a picture shows: square pixels of a fixed size in millimetres.</summary>
/// <remarks>
/// Picture coordinates are pixels, (0, 0) the top left corner of the top left pixel, so the centre of pixel (x, y) is at
/// (x + 0.5, y + 0.5). The same frame serves grey values and outline, so the two cannot drift apart.
/// </remarks>
internal sealed record SectionFrame(SectionPlane Plane, double PositionMm, double LeftMm, double TopMm, double MmPerPixel, int Width, int Height)
{
    /// <summary>A frame around a box, its longer side <paramref name="longSidePixels"/>.</summary>
    internal static SectionFrame Around(Box3 boxMm, SectionPlane plane, double positionMm, double marginMm, int longSidePixels)
    {
        var grown = boxMm.Grown(marginMm);
        Vec3 right = plane.View.Right, up = plane.View.Up;
        double u = Vec3.Dot(grown.Center, right), v = Vec3.Dot(grown.Center, up);
        double across = Math.Abs(Vec3.Dot(grown.Size, right)), tall = Math.Abs(Vec3.Dot(grown.Size, up));
        // A model of one point still gets a picture.
        var mmPerPixel = Math.Max(Math.Max(across, tall), 1e-3) / longSidePixels;
        int width = Math.Max(1, (int)Math.Ceiling(across / mmPerPixel)), height = Math.Max(1, (int)Math.Ceiling(tall / mmPerPixel));
        return new(plane, positionMm, u - (width * mmPerPixel / 2), v + (height * mmPerPixel / 2), mmPerPixel, width, height);
    }

    internal Vec3 ToPatient(double x, double y)
    {
        var p = (Plane.View.Right * (LeftMm + (x * MmPerPixel))) + (Plane.View.Up * (TopMm - (y * MmPerPixel)));
        return Plane.Axis switch
        {
            0 => p with { X = PositionMm },
            1 => p with { Y = PositionMm },
            _ => p with { Z = PositionMm },
        };
    }

    internal (double X, double Y) ToPicture(Vec3 pointMm) => (
        (Vec3.Dot(pointMm, Plane.View.Right) - LeftMm) / MmPerPixel,
        (TopMm - Vec3.Dot(pointMm, Plane.View.Up)) / MmPerPixel);
}
