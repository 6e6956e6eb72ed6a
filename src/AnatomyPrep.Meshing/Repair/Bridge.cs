using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>From where to where. Each end is named by a border half-edge or by a point, which takes the nearest border edge.</summary>
/// <param name="Segments">Rows of the strip; 0 chooses by the length of the two edges.</param>
/// <param name="Straight">False lets the strip leave both sheets without a bend.</param>
public sealed record BridgeParameters(
    Vec3? FromMm = null, Vec3? ToMm = null, int? FromHalfEdge = null, int? ToHalfEdge = null, int Segments = 0, bool Straight = false);

/// <summary>Lays a strip of triangles from one border edge to another, origin filled. What it leaves open can be filled afterwards.</summary>
/// <remarks>
/// The strip's two sides are cubic Hermite curves from corner to corner, with the outward direction of the sheet at either
/// end and the length of the gap as their speed; straight sides where that is asked for, or where the curved strip would
/// meet the surface. Corners are joined as the directions of both edges demand, so both sheets keep facing the same way.
/// Two edges with a common corner get a fan. Nothing that was there moves. When the strip cannot be laid without
/// doubling an edge or meeting the surface, the input comes back with a stop finding.
/// </remarks>
public static class Bridge
{
    private const string Step = "bridge";

    public static RepairResult Apply(Mesh mesh, BridgeParameters parameters, RunContext run)
    {
        ArgumentOutOfRangeException.ThrowIfNegative(parameters.Segments);
        run.ThrowIfCancelled();
        var edges = EdgeTable.Build(mesh);
        var from = FindEdge(mesh, edges, parameters.FromHalfEdge, parameters.FromMm, "From", except: -1);
        var to = FindEdge(mesh, edges, parameters.ToHalfEdge, parameters.ToMm, "To", except: from);
        if (from == to)
            throw new PlanException(Step, null, nameof(parameters.ToHalfEdge), to.ToString(CultureInfo.InvariantCulture), "another border edge than the first");

        int[] ends = [mesh.Triangles[from], mesh.Triangles[EdgeTable.Next(from)], mesh.Triangles[to], mesh.Triangles[EdgeTable.Next(to)]];
        var check = new PatchCheck(mesh, SurfaceNear.Rims(mesh, [ends], run));
        HolePatch? patch = null;
        foreach (var straight in parameters.Straight ? (bool[])[true] : [false, true])
        {
            run.ThrowIfCancelled();
            var strip = new BridgeStrip(mesh, edges, from, to, parameters.Segments, straight).Build();
            if (strip is null || check.FindContacts(strip, [], run).Count > 0)
                continue;
            patch = strip;
            break;
        }

        if (patch is null)
            return RepairResult.Unchanged(mesh, run, [NotLaid(mesh, from)]);
        var assembly = new PatchAssembly(mesh);
        assembly.Add(patch);
        var area = patch.AreaMm2(mesh);
        var measures = new Dictionary<string, double> { ["bridgeTriangles"] = patch.Triangles.Length, ["bridgeAreaMm2"] = area };
        return RepairResult.Changed(mesh, assembly.Build(), area, default, run, measures, [Laid(mesh, from, area)]);
    }

    private static int FindEdge(Mesh mesh, EdgeTable edges, int? halfEdge, Vec3? pointMm, string end, int except)
    {
        if (halfEdge is { } named)
        {
            return (uint)named < (uint)edges.Opposite.Length && edges.Opposite[named] == EdgeTable.Boundary
                ? named
                : throw new PlanException(Step, null, end + "HalfEdge", named.ToString(CultureInfo.InvariantCulture), "a half-edge of the open border");
        }

        if (pointMm is not { } point)
            throw new PlanException(Step, null, end + "Mm", "missing", "a point, or " + end + "HalfEdge");
        var (best, distance) = (-1, double.PositiveInfinity);
        for (var h = 0; h < edges.Opposite.Length; h++)
        {
            if (edges.Opposite[h] != EdgeTable.Boundary || h == except)
                continue;
            var d = TriangleShape.DistanceMm(point - mesh.OriginMm, mesh.Local(mesh.Triangles[h]), mesh.Local(mesh.Triangles[EdgeTable.Next(h)]));
            if (d < distance)
                (best, distance) = (h, d);
        }

        return best >= 0 ? best : throw new CheckFailedException("open border", "at least two border edges", edges.BoundaryEdges.ToString(CultureInfo.InvariantCulture));
    }

    private static Finding Laid(Mesh mesh, int from, double areaMm2) => new(
        FindingCodes.BridgeLaid,
        Severity.Note,
        string.Create(CultureInfo.InvariantCulture, $"A bridge of {areaMm2:G4} mm2 was laid."),
        "Bridged surface was not measured: judge it apart (origin filled).",
        new Place(PositionMm: mesh.Vertex(mesh.Triangles[from])));

    private static Finding NotLaid(Mesh mesh, int from) => new(
        FindingCodes.BridgeNotLaid,
        Severity.Stop,
        "No bridge could be laid between these edges without doubling an edge or running into the surface.",
        "Choose other edges, nearer to each other or facing each other.",
        new Place(PositionMm: mesh.Vertex(mesh.Triangles[from])));
}
