using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Combining;
using AnatomyPrep.Meshing.Shape;

namespace AnatomyPrep.Meshing.Marking;

public enum PlateOutline
{
    Rectangle,
    Circle,
}

/// <param name="Down">Where the foot goes; null means towards the feet.</param>
/// <param name="MarginMm">How far the foot reaches beyond the model's outline, seen along Down.</param>
/// <param name="SinkMm">How far the model's lowest point lies below the plate's upper face.</param>
public sealed record BasePlateParameters(
    Vec3? Down = null, double ThicknessMm = 3, double MarginMm = 2, double SinkMm = 1, PlateOutline Outline = PlateOutline.Rectangle);

/// <summary>Joins a flat foot to a solid.</summary>
/// <remarks>
/// The plate lies at right angles to the direction, its edges along two axes at right angles to it (x and y where the direction is z), as large
/// as the model seen along the direction, and the margin. It has origin added.
/// Measures: contactAreaMm2 (what plate and model have in common over the depth of it, a mean), plateMm3, and those of a combination.
/// </remarks>
public static class BasePlate
{
    private const string Step = "base-plate";

    /// <exception cref="PlanException">A length out of range, or a direction of no length.</exception>
    /// <exception cref="CheckFailedException">The model is no solid; nothing has changed.</exception>
    public static ShapeResult Apply(Mesh mesh, BasePlateParameters parameters, RunContext run)
    {
        var down = Placement.Direction(Step, "down", parameters.Down ?? new Vec3(0, 0, -1));
        Require(parameters);
        run.Report(Step, "check", 0);
        var before = SolidCheck.Require(Step, "the model", mesh, run);
        var plate = Plate(mesh, down, parameters);
        run.Report(Step, "join", 0.5);
        var joined = SolidEdit.Apply(Step, BooleanOperation.Union, mesh, [plate], run);
        var plateMm3 = MeshMeasures.SignedVolumeMm3(plate);
        var commonMm3 = before.VolumeMm3 + plateMm3 - joined.Facts.VolumeMm3;
        var depthMm = Math.Min(parameters.SinkMm, parameters.ThicknessMm);
        var effect = SolidEdit.Effect(before, joined, ("contactAreaMm2", Math.Max(0, commonMm3 / depthMm)), ("plateMm3", plateMm3));
        return new(joined.Mesh, effect, [.. SolidEdit.SettledFinding(joined)]);
    }

    private static Mesh Plate(Mesh mesh, Vec3 down, BasePlateParameters p)
    {
        var (u, v) = Across(-down);
        double u0 = double.PositiveInfinity, v0 = u0, low = double.NegativeInfinity, u1 = low, v1 = low;
        for (var i = 0; i < mesh.VertexCount; i++)
        {
            var q = mesh.Vertex(i);
            var (a, b) = (Vec3.Dot(q, u), Vec3.Dot(q, v));
            (u0, u1, v0, v1, low) = (Math.Min(u0, a), Math.Max(u1, a), Math.Min(v0, b), Math.Max(v1, b), Math.Max(low, Vec3.Dot(q, down)));
        }

        var top = low - p.SinkMm;
        if (p.Outline == PlateOutline.Circle)
        {
            var middle = (u * ((u0 + u1) / 2)) + (v * ((v0 + v1) / 2));
            var radiusMm = p.MarginMm + (Math.Sqrt(((u1 - u0) * (u1 - u0)) + ((v1 - v0) * (v1 - v0))) / 2);
            return SolidShapes.Frustum(
                mesh.OriginMm, middle + (down * (top + p.ThicknessMm)), middle + (down * top), radiusMm, radiusMm, SolidShapes.Sides(radiusMm), Origin.Added);
        }

        var corner = (u * (u0 - p.MarginMm)) + (v * (v0 - p.MarginMm)) + (down * (top + p.ThicknessMm));
        return SolidShapes.Box(
            mesh.OriginMm, corner, u, v, -down, new Vec3(u1 - u0 + (2 * p.MarginMm), v1 - v0 + (2 * p.MarginMm), p.ThicknessMm), Origin.Added);
    }

    /// <summary>Two unit vectors that make a right-handed frame with the given one; x and y for z.</summary>
    private static (Vec3 U, Vec3 V) Across(Vec3 w)
    {
        var x = new Vec3(1, 0, 0);
        var u = Math.Abs(w.X) < 0.9 ? (x - (w * w.X)).Normalized() : Placement.AnyPerpendicular(w);
        return (u, Vec3.Cross(w, u));
    }

    private static void Require(BasePlateParameters p)
    {
        foreach (var (name, value) in (ReadOnlySpan<(string, double)>)[("thicknessMm", p.ThicknessMm), ("sinkMm", p.SinkMm)])
            if (!(value > 0) || !double.IsFinite(value))
                throw new PlanException(Step, null, name, Placement.Text(value), "a number above 0");
        if (!(p.MarginMm >= 0) || !double.IsFinite(p.MarginMm))
            throw new PlanException(Step, null, "marginMm", Placement.Text(p.MarginMm), "0 or more");
    }
}
