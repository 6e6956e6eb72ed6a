using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>Which side of a cutting plane stays.</summary>
public enum CutKeep
{
    /// <summary>The side the normal points to.</summary>
    Front,

    Back,
}

/// <param name="PointMm">A point of the plane.</param>
/// <param name="Cap">Close the cut with triangles of origin Cut; otherwise leave it open.</param>
public sealed record CutParameters(Vec3 PointMm, Vec3 Normal, CutKeep Keep = CutKeep.Front, bool Cap = true);

/// <summary>Cuts a mesh with a plane.</summary>
/// <remarks>
/// A vertex nearer to the plane than four units in the last place of the largest coordinate counts as on it. What a vertex
///   on the plane means: <see cref="CutSide"/>. How the cut is closed: <see cref="CutCap"/>. A solid gives solids, and the
///   volumes of both sides add up: both share the cut's vertices bit by bit.
/// Gives: kept vertices first and unchanged, in their order, then the cut's vertices; kept triangles in their order (a cut
///   one as one or two, with its origin), then the cap. New vertices lie within half a unit in the last place of their edge.
/// Measures: sectionAreaMm2, sectionLengthMm, cutVertices.
/// Cost: O(triangles) plus O(n log n) in the section; peak about 40 bytes a triangle beyond the mesh.
/// </remarks>
public static class Cut
{
    private const string Step = "cut";

    /// <exception cref="PlanException">The normal is zero or a number is not finite.</exception>
    /// <exception cref="CheckFailedException">The plane misses the model, or a cap is wanted and cannot be made; nothing has changed.</exception>
    public static ShapeResult Apply(Mesh mesh, CutParameters parameters, RunContext run)
    {
        var normal = Placement.Direction(Step, "normal", parameters.Normal);
        Placement.RequireFinite(Step, "pointMm", parameters.PointMm);
        if (parameters.Keep == CutKeep.Back)
            normal = -normal;
        return Keep(mesh, parameters.PointMm, normal, parameters.Cap, run);
    }

    /// <summary>Both sides: the one that the normal points to, then the other. <see cref="CutParameters.Keep"/> has no say.</summary>
    /// <exception cref="PlanException">The normal is zero or a number is not finite.</exception>
    /// <exception cref="CheckFailedException">The plane misses the model, or a cap is wanted and cannot be made; nothing has changed.</exception>
    public static (ShapeResult Front, ShapeResult Back) Split(Mesh mesh, CutParameters parameters, RunContext run) => (
        Apply(mesh, parameters with { Keep = CutKeep.Front }, run),
        Apply(mesh, parameters with { Keep = CutKeep.Back }, run));

    /// <summary>Which side each vertex lies on: distance in mm along the normal, exactly 0 on the plane.</summary>
    internal static double[] Distances(Mesh mesh, Vec3 pointMm, Vec3 normal)
    {
        var offset = Vec3.Dot(normal, pointMm - mesh.OriginMm);
        float largest = 0;
        foreach (var x in mesh.Positions)
            largest = Math.Max(largest, Math.Abs(x));
        var onPlane = 4.0 * (MathF.BitIncrement(largest) - largest);
        var distance = new double[mesh.VertexCount];
        for (var v = 0; v < distance.Length; v++)
        {
            var d = Vec3.Dot(normal, mesh.Local(v)) - offset;
            distance[v] = Math.Abs(d) <= onPlane ? 0 : d;
        }

        return distance;
    }

    private static ShapeResult Keep(Mesh mesh, Vec3 pointMm, Vec3 normal, bool cap, RunContext run)
    {
        var distance = Distances(mesh, pointMm, normal);
        RequireCrossing(mesh, distance);
        var side = CutSide.Keep(mesh, distance, zip: !cap, run);
        run.Report(Step, "split", 1);
        var kept = cap && side.Rim.Length > 0 ? CutCap.Close(side.Open, side.Rim, -normal, run) : side.Open;
        run.Report(Step, "cap", 1);
        return new(kept, Effect(mesh, side, kept, run), []);
    }

    private static void RequireCrossing(Mesh mesh, double[] distance)
    {
        var (front, back) = (false, false);
        foreach (var v in mesh.Triangles)
        {
            front |= distance[v] > 0;
            back |= distance[v] < 0;
        }

        if (!front || !back)
            throw new CheckFailedException(Step, "a plane that passes through the model", "all of the model on one side of it");
    }

    private static StepEffect Effect(Mesh mesh, CutSide side, Mesh kept, RunContext run)
    {
        double length = 0;
        foreach (var (from, to) in side.Rim)
            length += Vec3.Distance(side.Open.Local(from), side.Open.Local(to));
        var open = MeshMeasures.AreaMm2(side.Open, run);
        var section = MeshMeasures.AreaMm2(kept, run) - open;
        var removed = MeshMeasures.AreaMm2(mesh, run) - open;
        var measures = new SortedDictionary<string, double>(StringComparer.Ordinal)
        {
            ["cutVertices"] = side.CutVertices,
            ["sectionAreaMm2"] = Math.Max(0, section),
            ["sectionLengthMm"] = length,
        };
        return new(
            Math.Max(0, removed) + Math.Max(0, section),
            VolumeBeforeMm3: MeshMeasures.SignedVolumeMm3(mesh, run),
            VolumeAfterMm3: MeshMeasures.SignedVolumeMm3(kept, run),
            Measures: measures);
    }
}
