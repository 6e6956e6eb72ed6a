using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shape;

/// <param name="MinMm">Corner of the box with the smallest coordinates, patient millimetres.</param>
/// <param name="Cap">With Inside: close the six cuts.</param>
public sealed record CutBoxParameters(Vec3 MinMm, Vec3 MaxMm, ZoneKeep Keep = ZoneKeep.Inside, bool Cap = true);

/// <summary>Keeps what lies in a box along the axes, or what lies outside of it.</summary>
/// <remarks>Inside: cut by the box's six planes in turn (<see cref="Cut"/>), so faces are flat and a solid stays a solid.
/// Outside: whole triangles (<see cref="ZoneSelection"/>), open, because what a box leaves behind has no flat cap.</remarks>
public static class CutBox
{
    private const string Step = "cut-box";

    /// <exception cref="PlanException">The box is empty or not finite.</exception>
    /// <exception cref="CheckFailedException">The box misses the model or removes nothing, or a cap cannot be made.</exception>
    public static ShapeResult Apply(Mesh mesh, CutBoxParameters parameters, RunContext run)
    {
        var (min, max) = (parameters.MinMm, parameters.MaxMm);
        if (!min.IsFinite || !max.IsFinite || !(min.X < max.X && min.Y < max.Y && min.Z < max.Z))
            throw new PlanException(Step, null, "minMm, maxMm", Placement.Text(min) + " to " + Placement.Text(max), "a box with a positive size");
        var box = new Box3(min, max);
        return parameters.Keep == ZoneKeep.Outside
            ? ZoneSelection.Apply(mesh, Step, box.Contains, ZoneKeep.Outside, run)
            : KeepInside(mesh, box, parameters.Cap, run);
    }

    private static ShapeResult KeepInside(Mesh mesh, Box3 box, bool cap, RunContext run)
    {
        var at = mesh;
        double section = 0, changed = 0;
        var cuts = 0;
        for (var face = 0; face < 6; face++)
        {
            var (point, normal) = Face(box, face);
            var (inside, outside) = Sides(at, point, normal);
            if (!inside)
                throw new CheckFailedException(Step, "a box that part of the model lies in", "a box that leaves nothing");
            if (!outside)
                continue;
            var cut = Cut.Apply(at, new(point, normal, CutKeep.Front, cap), run);
            at = cut.Mesh;
            section += cut.Effect.Measures!["sectionAreaMm2"];
            changed += cut.Effect.ChangedAreaMm2!.Value;
            cuts++;
        }

        if (cuts == 0)
            throw new CheckFailedException(Step, "a box that part of the model lies in", "a box that removes nothing");
        var measures = new SortedDictionary<string, double>(StringComparer.Ordinal) { ["cuts"] = cuts, ["sectionAreaMm2"] = section };
        var effect = new StepEffect(
            changed,
            VolumeBeforeMm3: MeshMeasures.SignedVolumeMm3(mesh, run),
            VolumeAfterMm3: MeshMeasures.SignedVolumeMm3(at, run),
            Measures: measures);
        return new(at, effect, []);
    }

    private static (Vec3 PointMm, Vec3 Normal) Face(Box3 box, int face)
    {
        var sign = face < 3 ? 1.0 : -1.0;
        var axis = face % 3;
        var normal = new Vec3(axis == 0 ? sign : 0, axis == 1 ? sign : 0, axis == 2 ? sign : 0);
        return (face < 3 ? box.Min : box.Max, normal);
    }

    private static (bool Inside, bool Outside) Sides(Mesh mesh, Vec3 pointMm, Vec3 normal)
    {
        var distance = Cut.Distances(mesh, pointMm, normal);
        var (inside, outside) = (false, false);
        foreach (var v in mesh.Triangles)
        {
            inside |= distance[v] > 0;
            outside |= distance[v] < 0;
        }

        return (inside, outside);
    }
}
