using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Turns triangles so that neighbours agree; the larger area of each patch stays as it is.</summary>
/// <remarks>
/// A patch is what hangs together across edges with exactly two triangles. Breadth first from its first triangle; the
/// half with less area is turned (equal: the half without the first triangle). A turned triangle keeps its first corner.
/// Where the walk comes back to a triangle the wrong way round the surface is one-sided; those edges stay as conflicts,
/// which the edge table of the result shows as inconsistent.
/// </remarks>
internal sealed class PatchOrientation
{
    private PatchOrientation(Mesh mesh) => Mesh = mesh;

    public Mesh Mesh { get; private set; }

    public int Turned { get; private set; }

    public double TurnedAreaMm2 { get; private set; }

    public Vec3? FirstTurnedMm { get; private set; }

    public int Conflicts { get; private set; }

    public Vec3? FirstConflictMm { get; private set; }

    public static PatchOrientation Unchanged(Mesh mesh) => new(mesh);

    public static PatchOrientation Apply(Mesh mesh)
    {
        var edges = EdgeTable.Build(mesh);
        var result = new PatchOrientation(mesh);
        if (edges.InconsistentEdges == 0)
            return result;
        var turn = result.Walk(mesh, TriangleNeighbours.Build(mesh.Triangles, edges));
        if (Array.Exists(turn, t => t))
            result.Mesh = Flip(mesh, turn);
        return result;
    }

    private bool[] Walk(Mesh mesh, TriangleNeighbours neighbours)
    {
        // 0: not seen, 1: as the patch's first triangle, 2: the other way.
        var side = new byte[mesh.TriangleCount];
        var turn = new bool[mesh.TriangleCount];
        var patch = new List<int>();
        for (var start = 0; start < side.Length; start++)
        {
            if (side[start] != 0)
                continue;
            patch.Clear();
            patch.Add(start);
            side[start] = 1;
            double same = 0, other = 0;
            for (var i = 0; i < patch.Count; i++)
            {
                var t = patch[i];
                var area = MeshMeasures.TriangleAreaMm2(mesh, t);
                (same, other) = side[t] == 1 ? (same + area, other) : (same, other + area);
                for (var h = 3 * t; h < (3 * t) + 3; h++)
                    Visit(mesh, neighbours, h, side, patch);
            }

            foreach (var t in patch)
                if (side[t] == (other > same ? 1 : 2))
                    Turn(mesh, turn, t);
        }

        return turn;
    }

    private void Visit(Mesh mesh, TriangleNeighbours neighbours, int h, byte[] side, List<int> patch)
    {
        var next = neighbours.Across(h);
        if (next < 0)
            return;
        var wanted = neighbours.IsTurned(h) ? (byte)(3 - side[h / 3]) : side[h / 3];
        if (side[next] == 0)
        {
            side[next] = wanted;
            patch.Add(next);
        }
        else if (side[next] != wanted && h / 3 < next)
        {
            Conflicts++;
            FirstConflictMm ??= mesh.Vertex(mesh.Triangles[h]);
        }
    }

    private void Turn(Mesh mesh, bool[] turn, int t)
    {
        turn[t] = true;
        Turned++;
        TurnedAreaMm2 += MeshMeasures.TriangleAreaMm2(mesh, t);
        FirstTurnedMm ??= mesh.Vertex(mesh.Triangle(t).A);
    }

    private static Mesh Flip(Mesh mesh, bool[] turn)
    {
        var triangles = mesh.Triangles.ToArray();
        for (var t = 0; t < turn.Length; t++)
            if (turn[t])
                (triangles[(3 * t) + 1], triangles[(3 * t) + 2]) = (triangles[(3 * t) + 2], triangles[(3 * t) + 1]);
        return new(mesh.OriginMm, mesh.PositionArray, triangles, mesh.OriginArray);
    }
}
