using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Imaging.Pictures;

/// <summary>The box that a picture of a mesh has to show.</summary>
internal static class PictureBounds
{
    /// <exception cref="CheckFailedException">There is nothing to show.</exception>
    internal static Box3 Of(Mesh mesh)
    {
        if (mesh.TriangleCount == 0)
            throw new CheckFailedException("picture of a model", "at least one triangle", "none");
        var bounds = mesh.BoundsMm();
        if (!bounds.Min.IsFinite || !bounds.Max.IsFinite)
            throw new CheckFailedException("picture of a model", "finite positions", "a position that is not a number or infinite");
        return bounds;
    }
}
