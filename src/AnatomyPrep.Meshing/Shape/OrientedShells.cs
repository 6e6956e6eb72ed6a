using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>Triangles joined over edges that exactly two of them use, and which to turn so that neighbours agree.</summary>
internal sealed class OrientedShells
{
    private readonly int[] _neighbours;

    private OrientedShells(int[] neighbours, int[] shell, bool[] turned, bool[] oneSided)
    {
        _neighbours = neighbours;
        Shell = shell;
        Turned = turned;
        OneSided = oneSided;
    }

    /// <summary>Shell of each triangle, numbered by first triangle.</summary>
    internal int[] Shell { get; }

    /// <summary>Whether each triangle is to be turned over. The larger area of a shell stays.</summary>
    internal bool[] Turned { get; }

    /// <summary>For each shell; none of its triangles is turned.</summary>
    internal bool[] OneSided { get; }

    internal int Count => OneSided.Length;

    internal static OrientedShells Find(Mesh mesh, RunContext run)
    {
        var neighbours = Neighbours(mesh, run);
        var (shell, turned) = (new int[mesh.TriangleCount], new bool[mesh.TriangleCount]);
        Array.Fill(shell, -1);
        var oneSided = new List<bool>();
        var queue = new List<int>();
        for (var seed = 0; seed < shell.Length; seed++)
        {
            if (shell[seed] >= 0)
                continue;
            run.ThrowIfCancelled();
            queue.Clear();
            queue.Add(seed);
            shell[seed] = oneSided.Count;
            var consistent = Flood(neighbours, queue, shell, turned);
            oneSided.Add(!consistent);
            Settle(mesh, queue, turned, consistent);
        }

        return new(neighbours, shell, turned, [.. oneSided]);
    }

    /// <summary>The mesh's corners with the marked triangles turned.</summary>
    internal int[] Apply(Mesh mesh)
    {
        var triangles = mesh.Triangles.ToArray();
        for (var t = 0; t < Turned.Length; t++)
            if (Turned[t])
                (triangles[(3 * t) + 1], triangles[(3 * t) + 2]) = (triangles[(3 * t) + 2], triangles[(3 * t) + 1]);
        return triangles;
    }

    /// <summary>Connected areas of triangles that are to be turned.</summary>
    internal int TurnedPatches()
    {
        var seen = new bool[Turned.Length];
        var stack = new Stack<int>();
        var patches = 0;
        for (var seed = 0; seed < seen.Length; seed++)
        {
            if (!Turned[seed] || seen[seed])
                continue;
            patches++;
            seen[seed] = true;
            stack.Push(seed);
            while (stack.TryPop(out var t))
                for (var h = 3 * t; h < (3 * t) + 3; h++)
                    if (_neighbours[h] != NoNeighbour && Turned[Other(_neighbours[h])] && !seen[Other(_neighbours[h])])
                    {
                        seen[Other(_neighbours[h])] = true;
                        stack.Push(Other(_neighbours[h]));
                    }
        }

        return patches;
    }

    private const int NoNeighbour = int.MinValue;

    /// <summary>Per half-edge the triangle beyond it, or its complement where that one runs the other way round.</summary>
    private static int[] Neighbours(Mesh mesh, RunContext run)
    {
        var table = EdgeTable.Build(mesh);
        var neighbours = new int[table.OppositeArray.Length];
        var at = table.InconsistentEdges > 0 ? VertexTriangles.Of(mesh, run) : null;
        for (var h = 0; h < neighbours.Length; h++)
            neighbours[h] = table.Opposite[h] switch
            {
                >= 0 and var opposite => opposite / 3,
                EdgeTable.Inconsistent => ~Partner(mesh.Triangles, at!, h),
                _ => NoNeighbour,
            };
        return neighbours;
    }

    private static int Partner(ReadOnlySpan<int> triangles, VertexTriangles at, int h)
    {
        var to = triangles[EdgeTable.Next(h)];
        foreach (var corner in at.CornersAt(triangles[h]))
        {
            var t = corner / 3;
            if (t != h / 3 && (triangles[3 * t] == to || triangles[(3 * t) + 1] == to || triangles[(3 * t) + 2] == to))
                return t;
        }

        throw new InvalidOperationException("An edge of two triangles has a second one.");
    }

    private static int Other(int neighbour) => neighbour < 0 ? ~neighbour : neighbour;

    private static bool Flood(int[] neighbours, List<int> queue, int[] shell, bool[] turned)
    {
        var consistent = true;
        for (var i = 0; i < queue.Count; i++)
        {
            var t = queue[i];
            for (var h = 3 * t; h < (3 * t) + 3; h++)
            {
                if (neighbours[h] == NoNeighbour)
                    continue;
                var other = Other(neighbours[h]);
                var turn = turned[t] ^ (neighbours[h] < 0);
                if (shell[other] >= 0)
                {
                    consistent &= turned[other] == turn;
                    continue;
                }

                shell[other] = shell[t];
                turned[other] = turn;
                queue.Add(other);
            }
        }

        return consistent;
    }

    private static void Settle(Mesh mesh, List<int> members, bool[] turned, bool consistent)
    {
        double stay = 0, turn = 0;
        foreach (var t in members)
            if (turned[t])
                turn += MeshMeasures.TriangleAreaMm2(mesh, t);
            else
                stay += MeshMeasures.TriangleAreaMm2(mesh, t);
        foreach (var t in members)
            turned[t] = consistent && turned[t] ^ (turn > stay);
    }
}
