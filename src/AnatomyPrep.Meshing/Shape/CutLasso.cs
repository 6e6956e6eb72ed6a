using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>A line drawn round something on the screen.</summary>
/// <param name="Polygon">x and y in turn, in normalised device coordinates (−1 to 1, y up); closed by itself.</param>
/// <param name="ClipFromPatient">16 numbers, row by row: projection × view, patient millimetres to clip coordinates.</param>
public sealed record CutLassoParameters(IReadOnlyList<double> Polygon, IReadOnlyList<double> ClipFromPatient, ZoneKeep Keep = ZoneKeep.Outside);

/// <summary>Keeps or removes everything behind a line drawn on the screen, as deep as the model goes.</summary>
/// <remarks>
/// A triangle lies in the zone when its centre is in front of the viewer (clip w above 0) and the polygon winds round its
/// projection an odd number of times (even-odd rule). The result is open (<see cref="ZoneSelection"/>).
/// Cost: O(triangles · corners of the polygon), on all threads.
/// </remarks>
public static class CutLasso
{
    private const string Step = "cut-lasso";

    /// <exception cref="PlanException">Fewer than three points, not 16 matrix entries, or a number that is not finite.</exception>
    /// <exception cref="CheckFailedException">All or none of the model lies in the zone.</exception>
    public static ShapeResult Apply(Mesh mesh, CutLassoParameters parameters, RunContext run)
    {
        double[] polygon = [.. parameters.Polygon], matrix = [.. parameters.ClipFromPatient];
        Validate(polygon, matrix);
        return ZoneSelection.Apply(mesh, Step, p => Inside(polygon, matrix, p), parameters.Keep, run);
    }

    private static void Validate(double[] polygon, double[] matrix)
    {
        if (polygon.Length < 6 || polygon.Length % 2 != 0)
            throw new PlanException(Step, null, "polygon", FormattableString.Invariant($"{polygon.Length} numbers"), "x and y of three points or more");
        if (matrix.Length != 16)
            throw new PlanException(Step, null, "clipFromPatient", FormattableString.Invariant($"{matrix.Length} numbers"), "16 numbers, row by row");
        if (!polygon.All(double.IsFinite))
            throw new PlanException(Step, null, "polygon", "a number that is not finite", "finite numbers");
        if (!matrix.All(double.IsFinite))
            throw new PlanException(Step, null, "clipFromPatient", "a number that is not finite", "finite numbers");
    }

    private static bool Inside(double[] polygon, double[] m, Vec3 p)
    {
        var w = (m[12] * p.X) + (m[13] * p.Y) + (m[14] * p.Z) + m[15];
        if (!(w > 0))
            return false;
        var x = ((m[0] * p.X) + (m[1] * p.Y) + (m[2] * p.Z) + m[3]) / w;
        var y = ((m[4] * p.X) + (m[5] * p.Y) + (m[6] * p.Z) + m[7]) / w;
        var inside = false;
        for (int i = 0, j = polygon.Length - 2; i < polygon.Length; j = i, i += 2)
        {
            double xi = polygon[i], yi = polygon[i + 1], xj = polygon[j], yj = polygon[j + 1];
            if ((yi > y) != (yj > y) && x < xi + ((xj - xi) * (y - yi) / (yj - yi)))
                inside = !inside;
        }

        return inside;
    }
}
