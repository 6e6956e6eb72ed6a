using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;

namespace AnatomyPrep.Meshing.Prepare;

/// <param name="Up">Which direction of the model shall point away from the bed; null searches.</param>
/// <param name="KeepFreeMm">Surface within <paramref name="KeepFreeRadiusMm"/> of these points shall need no support: a face, a joint, a tooth.</param>
/// <param name="Directions">How many directions the search begins with.</param>
public sealed record LayParameters(PrintProfile Profile, Vec3? Up = null, IReadOnlyList<Vec3>? KeepFreeMm = null, double KeepFreeRadiusMm = 15, int Directions = 200);

/// <summary>Turns a model so that it needs little support, and sets it on the bed: z up, lowest point at 0, middle over the origin.</summary>
/// <remarks>
/// The search: <see cref="OrientModel"/>. A rigid motion; every vertex is rounded to float32 once. From here on the model is no longer where the images are.
/// Measures: upX, upY, upZ (the direction of the given model that points up now), those of the chosen orientation, *AsGiven for the one it came in, tried, pareto.
/// </remarks>
public static class Lay
{
    private const string Step = "lay";

    /// <exception cref="PlanException">A radius is not positive, a direction zero or a point not finite.</exception>
    /// <exception cref="CheckFailedException">There is nothing to lay.</exception>
    public static (ShapeResult Result, OrientModelResult? Search) Apply(Mesh mesh, LayParameters parameters, RunContext run)
    {
        if (!(parameters.KeepFreeRadiusMm > 0) || !double.IsFinite(parameters.KeepFreeRadiusMm))
            throw new PlanException(Step, null, "keepFreeRadiusMm", Placement.Text(parameters.KeepFreeRadiusMm), "a number above 0");
        foreach (var point in parameters.KeepFreeMm ?? [])
            Placement.RequireFinite(Step, "keepFreeMm", point);
        if (mesh.TriangleCount == 0)
            throw new CheckFailedException(Step, "a mesh with triangles", "none");
        var kept = Kept(mesh, parameters);
        var search = parameters.Up is null ? OrientModel.Search(mesh, new(parameters.Profile, parameters.Directions, kept), run) : null;
        var up = search?.Chosen.Up ?? Placement.Direction(Step, "up", parameters.Up!.Value);
        var laid = OnBed(Placement.Map(mesh, Upright(mesh, up), run));
        var measures = new SortedDictionary<string, double>(StringComparer.Ordinal) { ["upX"] = up.X, ["upY"] = up.Y, ["upZ"] = up.Z };
        if (search is null)
            return (new(laid, Displacement.Effect(mesh, laid, run, measures), []), null);
        PrintReport.AddTo(measures, search.Chosen);
        measures["supportOutOfReachMm2"] = search.Chosen.ShadowedMm2;
        measures["supportContactAsGivenMm2"] = search.AsGiven.ContactMm2;
        measures["supportSpaceAsGivenMm3"] = search.AsGiven.SupportMm3;
        measures["heightAsGivenMm"] = search.AsGiven.HeightMm;
        measures["tried"] = search.Tried.Count;
        measures["pareto"] = search.Pareto.Count;
        return (new(laid, Displacement.Effect(mesh, laid, run, measures), [.. Findings(search)]), search);
    }

    private static bool[]? Kept(Mesh mesh, LayParameters parameters)
    {
        if (parameters.KeepFreeMm is not { Count: > 0 } points)
            return null;
        var kept = new bool[mesh.TriangleCount];
        for (var t = 0; t < kept.Length; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            var middle = ((mesh.Local(a) + mesh.Local(b) + mesh.Local(c)) / 3) + mesh.OriginMm;
            kept[t] = points.Any(p => Vec3.Distance(p, middle) <= parameters.KeepFreeRadiusMm);
        }

        return kept;
    }

    private static Affine3 Upright(Mesh mesh, Vec3 up)
    {
        var center = Placement.CenterMm(mesh);
        return Placement.TurnOnto(up, new(0, 0, 1)).After(Affine3.Translate(-center));
    }

    private static Mesh OnBed(Mesh mesh)
    {
        var bounds = Placement.SurfaceBoundsMm(mesh);
        return new(mesh.OriginMm - new Vec3(bounds.Center.X, bounds.Center.Y, bounds.Min.Z), mesh.PositionArray, mesh.TriangleArray, mesh.OriginArray);
    }

    private static IEnumerable<Finding> Findings(OrientModelResult search)
    {
        var up = search.Chosen.Up;
        yield return new(
            FindingCodes.OrientationChosen,
            Severity.Note,
            FormattableString.Invariant($"({up.X:F3}, {up.Y:F3}, {up.Z:F3}) of the patient points up now: {search.Why}. {search.Tried.Count} orientations were tried, {search.Pareto.Count} of them are beaten by none in every wish."),
            "The model is no longer where the images are; to choose another one give `lay` its `up`.");
        if (search.Chosen.KeptMm2 > 0)
        {
            yield return new(
                FindingCodes.KeptNeedsSupport,
                Severity.Caution,
                FormattableString.Invariant($"{search.Chosen.KeptMm2:F0} mm² that shall stay free need support."),
                "Raise weightKept in the profile, or take fewer or smaller places.");
        }
    }
}
