using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>A stretch of one rim, from one of its vertices to another.</summary>
/// <param name="FromMm">The nearest border vertex begins the stretch.</param>
/// <param name="ToMm">The nearest other vertex of the same rim ends it.</param>
/// <param name="LongerWay">False takes the shorter of the two ways along the rim.</param>
public sealed record FillStretchParameters(Vec3 FromMm, Vec3 ToMm, bool LongerWay = false, FillMethod Method = FillMethod.Smooth);

/// <summary>Fills a rim from here to there: the stretch is closed by a straight new border, the rest of the rim stays open.</summary>
/// <remarks>
/// The new border has the edge length of the rim. The polygon of stretch and new border is closed as a hole is
/// (<see cref="FillHoles"/>). A stretch of a single edge, or one that cannot be closed, gives the input back with a stop.
/// </remarks>
public static class FillStretch
{
    private const string Step = "fill stretch";

    public static RepairResult Apply(Mesh mesh, FillStretchParameters parameters, RunContext run)
    {
        run.ThrowIfCancelled();
        var stretch = FindStretch(mesh, parameters);
        if (stretch is null || stretch.Length < 3)
            return RepairResult.Unchanged(mesh, run, [NotFilled(parameters.FromMm)]);

        var widened = WithNewBorder(mesh, stretch, out var rimVertices);
        var around = VertexTriangles.Of(widened);
        var rim = new HoleRim(widened, around, rimVertices);
        var check = new PatchCheck(widened, SurfaceNear.Rims(widened, [rimVertices], run));
        var patch = HoleFiller.Best(widened, around, rim, parameters.Method, check, [], run);
        if (patch is null || patch.Contacts > 0)
            return RepairResult.Unchanged(mesh, run, [NotFilled(parameters.FromMm)]);
        var assembly = new PatchAssembly(widened);
        assembly.Add(patch);
        var area = patch.AreaMm2(widened);
        var measures = new Dictionary<string, double> { ["filledAreaMm2"] = area, ["farthestFromRimMm"] = patch.FarthestFromRimMm(widened) };
        return RepairResult.Changed(mesh, assembly.Build(), area, default, run, measures, [Filled(mesh, stretch[0], area)]);
    }

    /// <returns>Vertices along the rim in the direction of its half-edges, or null when there is no closed rim.</returns>
    private static int[]? FindStretch(Mesh mesh, FillStretchParameters parameters)
    {
        var loops = BoundaryLoops.Find(mesh).Where(l => l.IsClosed).ToList();
        if (loops.Count == 0)
            return null;
        var loop = loops.MinBy(l => NearestDistance(mesh, l, parameters.FromMm))!;
        var from = NearestIn(mesh, loop, parameters.FromMm, except: -1);
        var to = NearestIn(mesh, loop, parameters.ToMm, except: from);
        int[] forward = Between(loop, from, to), backward = Between(loop, to, from);
        var forwardIsShorter = Length(mesh, forward) <= Length(mesh, backward);
        return forwardIsShorter != parameters.LongerWay ? forward : backward;
    }

    private static double NearestDistance(Mesh mesh, BoundaryLoop loop, Vec3 pointMm) => loop.Vertices.Min(v => Vec3.Distance(mesh.Vertex(v), pointMm));

    private static int NearestIn(Mesh mesh, BoundaryLoop loop, Vec3 pointMm, int except) =>
        Enumerable.Range(0, loop.EdgeCount).Where(i => i != except).MinBy(i => Vec3.Distance(mesh.Vertex(loop.Vertices[i]), pointMm));

    private static int[] Between(BoundaryLoop loop, int from, int to)
    {
        var count = ((to - from + loop.EdgeCount) % loop.EdgeCount) + 1;
        return [.. Enumerable.Range(0, count).Select(i => loop.Vertices[(from + i) % loop.EdgeCount])];
    }

    private static double Length(Mesh mesh, int[] vertices)
    {
        double sum = 0;
        for (var i = 1; i < vertices.Length; i++)
            sum += Vec3.Distance(mesh.Local(vertices[i - 1]), mesh.Local(vertices[i]));
        return sum;
    }

    // The mesh with the vertices of the new border behind the old ones, and the polygon in the direction of the patch.
    private static Mesh WithNewBorder(Mesh mesh, int[] stretch, out int[] rim)
    {
        Vec3 first = mesh.Local(stretch[0]), last = mesh.Local(stretch[^1]);
        var edge = Length(mesh, stretch) / (stretch.Length - 1);
        var segments = (int)Math.Clamp(Math.Round(Vec3.Distance(first, last) / Math.Max(edge, double.Epsilon)), 2, 100_000);
        List<float> positions = [.. mesh.Positions];
        List<int> polygon = [.. stretch];
        for (var i = 1; i < segments; i++)
        {
            var p = Vec3.Lerp(last, first, i / (double)segments);
            polygon.Add(positions.Count / 3);
            positions.AddRange([(float)p.X, (float)p.Y, (float)p.Z]);
        }

        polygon.Reverse();
        rim = [.. polygon];
        return new(mesh.OriginMm, [.. positions], mesh.TriangleArray, mesh.OriginArray);
    }

    private static Finding Filled(Mesh mesh, int vertex, double areaMm2) => new(
        FindingCodes.HolesFilled,
        Severity.Note,
        string.Create(CultureInfo.InvariantCulture, $"A stretch of rim was filled with {areaMm2:G4} mm2."),
        "Filled surface was not measured: judge it apart (origin filled).",
        new Place(PositionMm: mesh.Vertex(vertex)));

    private static Finding NotFilled(Vec3 atMm) => new(
        FindingCodes.HoleNotFilled,
        Severity.Stop,
        "The stretch of rim could not be filled: it is a single edge, its rim is not closed, or the fill would run into the surface.",
        "Choose two border vertices of one rim with at least one vertex between them.",
        new Place(PositionMm: atMm));
}
