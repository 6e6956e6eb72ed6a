using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>What a vertex may do when a surface is meshed anew.</summary>
internal enum RemeshKind : byte
{
    /// <summary>Goes anywhere on the surface.</summary>
    Free,

    /// <summary>Stays on its line.</summary>
    Line,

    /// <summary>Stays; others may go into it.</summary>
    Corner,

    /// <summary>Stays, with all edges it has.</summary>
    Locked,
}

/// <summary>The lines of a surface that are kept when it is meshed anew: borders, rims between origins, sharp edges.</summary>
/// <param name="Line">Per half-edge.</param>
/// <param name="Tree">Finds points on the lines, each segment as a triangle without area; null where there are none.</param>
internal sealed record FeatureLines(bool[] Line, RemeshKind[] Kind, TriangleTree? Tree)
{
    // Where a line itself turns by more than 40° its vertex is a corner: cos 40°.
    private const double CornerTurn = 0.766;

    /// <param name="locked">Vertices to be left alone besides the irregular ones.</param>
    internal static FeatureLines Find(Mesh mesh, EdgeTable edges, RemeshParameters parameters, bool[] locked, RunContext run)
    {
        var line = Lines(mesh, edges, parameters.FeatureAngleDeg, run);
        var at = VertexTriangles.Of(mesh, run);
        var regular = VertexKinds.Find(mesh.TriangleArray, at, run);
        var pinned = new bool[mesh.VertexCount];
        if (parameters.PinRims)
            PinnedVertices.MarkRims(mesh, pinned);
        var kind = new RemeshKind[mesh.VertexCount];
        var ends = LineEnds(mesh, edges, line);
        for (var v = 0; v < kind.Length; v++)
        {
            if (locked[v] || regular[v] == EdgeCollapser.Pinned)
                kind[v] = RemeshKind.Locked;
            else if (pinned[v] || (parameters.PinBoundary && regular[v] == EdgeCollapser.Border))
                kind[v] = RemeshKind.Corner;
            else
                kind[v] = KindOf(mesh, v, ends[v]);
        }

        return new(line, kind, TreeOf(mesh, edges, line, run));
    }

    private static bool[] Lines(Mesh mesh, EdgeTable edges, double featureAngleDeg, RunContext run)
    {
        var line = new bool[mesh.Triangles.Length];
        var cosine = Math.Cos(featureAngleDeg * (Math.PI / 180));
        Partition.Ranges(run, mesh.TriangleCount, 1 << 14, (_, from, to) =>
        {
            for (var h = 3 * from; h < 3 * to; h++)
            {
                var opposite = edges.OppositeArray[h];
                line[h] = opposite < 0 || mesh.OriginArray[h / 3] != mesh.OriginArray[opposite / 3]
                    || (featureAngleDeg < 180 && Vec3.Dot(Normal(mesh, h / 3), Normal(mesh, opposite / 3)) < cosine);
            }
        });
        return line;
    }

    /// <summary>For each vertex the other ends of the line edges at it, up to three.</summary>
    private static (int First, int Second, int Count)[] LineEnds(Mesh mesh, EdgeTable edges, bool[] line)
    {
        var ends = new (int First, int Second, int Count)[mesh.VertexCount];
        for (var h = 0; h < line.Length; h++)
        {
            if (!line[h] || (edges.Opposite[h] >= 0 && edges.Opposite[h] < h))
                continue;
            var (a, b) = (mesh.Triangles[h], mesh.Triangles[EdgeTable.Next(h)]);
            ends[a] = With(ends[a], b);
            ends[b] = With(ends[b], a);
        }

        return ends;

        static (int, int, int) With((int First, int Second, int Count) ends, int v) =>
            ends.Count == 0 ? (v, -1, 1) : ends.Count == 1 ? (ends.First, v, 2) : (ends.First, ends.Second, 3);
    }

    private static RemeshKind KindOf(Mesh mesh, int v, (int First, int Second, int Count) ends)
    {
        if (ends.Count == 0)
            return RemeshKind.Free;
        if (ends.Count != 2)
            return RemeshKind.Corner;
        var along = Vec3.Dot((mesh.Local(v) - mesh.Local(ends.First)).Normalized(), (mesh.Local(ends.Second) - mesh.Local(v)).Normalized());
        return along < CornerTurn ? RemeshKind.Corner : RemeshKind.Line;
    }

    private static TriangleTree? TreeOf(Mesh mesh, EdgeTable edges, bool[] line, RunContext run)
    {
        var segments = new List<int>();
        for (var h = 0; h < line.Length; h++)
            if (line[h] && (edges.Opposite[h] < 0 || h < edges.Opposite[h]))
                segments.AddRange([mesh.Triangles[h], mesh.Triangles[EdgeTable.Next(h)], mesh.Triangles[EdgeTable.Next(h)]]);
        return segments.Count == 0 ? null : TriangleTree.Build(new Mesh(mesh.OriginMm, mesh.PositionArray, [.. segments]), run);
    }

    private static Vec3 Normal(Mesh mesh, int t)
    {
        var (a, b, c) = mesh.Triangle(t);
        return Vec3.Cross(mesh.Local(b) - mesh.Local(a), mesh.Local(c) - mesh.Local(a)).Normalized();
    }
}
