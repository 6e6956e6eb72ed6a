using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;

namespace AnatomyPrep.Meshing.Prepare;

/// <summary>Makes a model larger along each axis by what the material will shrink, about the middle of its foot.</summary>
/// <remarks>After the last turn: the axes are those of the machine. Measures: factorX, factorY, factorZ.</remarks>
public static class CompensateShrink
{
    /// <exception cref="CheckFailedException">There is nothing to scale, or it would leave the range of numbers.</exception>
    public static ShapeResult Apply(Mesh mesh, PrintProfile profile, RunContext run)
    {
        if (mesh.TriangleCount == 0)
            throw new CheckFailedException("compensate-shrink", "a mesh with triangles", "none");
        var factor = profile.ScaleFor();
        var bounds = Placement.SurfaceBoundsMm(mesh);
        var about = bounds.Center with { Z = bounds.Min.Z };
        var map = Affine3.Translate(about)
            .After(new Affine3(new(factor.X, 0, 0), new(0, factor.Y, 0), new(0, 0, factor.Z), Vec3.Zero))
            .After(Affine3.Translate(-about));
        var scaled = Placement.Map(mesh, map, run);
        var measures = new SortedDictionary<string, double>(StringComparer.Ordinal) { ["factorX"] = factor.X, ["factorY"] = factor.Y, ["factorZ"] = factor.Z };
        return new(scaled, Displacement.Effect(mesh, scaled, run, measures),
        [
            new(
                FindingCodes.ShrinkCompensated,
                Severity.Note,
                FormattableString.Invariant($"The model was made larger by {(factor.X - 1) * 100:F2}, {(factor.Y - 1) * 100:F2} and {(factor.Z - 1) * 100:F2} % along x, y and z for the shrink of {profile.Name}."),
                "Check that the machine's own program does not do it again; measure the print, not the file."),
        ]);
    }
}
