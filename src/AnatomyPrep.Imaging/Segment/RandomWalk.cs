using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Imaging.Segment;

/// <summary>On a graph with some nodes owned: whose node a walk from any other one meets first, most likely.</summary>
/// <remarks>
/// Method: Grady, "Random Walks for Image Segmentation", IEEE PAMI 28(11), 2006 (from memory): the probability is the potential of an
///   electric circuit with the owned nodes at 1 and 0, a linear system with the graph's Laplacian, once for every owner but the
///   last. Solved by conjugate gradients with the diagonal as preconditioner (Hestenes, Stiefel 1952), to a residual of 1e-10.
/// One thread, fixed order of sums: same bits always. Cost: edges times iterations, some thousand at most; memory: 60 bytes a node,
/// 24 an edge.
/// </remarks>
internal sealed class RandomWalk
{
    private const double Residual = 1e-10;

    private readonly int[] _firstEdge;
    private readonly int[] _to;
    private readonly double[] _weight;

    /// <param name="nodes">Numbered from 0.</param>
    /// <param name="edges">Every edge once, with a positive weight.</param>
    public RandomWalk(int nodes, IReadOnlyList<(int A, int B, double Weight)> edges)
    {
        _firstEdge = new int[nodes + 1];
        foreach (var (a, b, _) in edges)
        {
            _firstEdge[a + 1]++;
            _firstEdge[b + 1]++;
        }

        for (var n = 0; n < nodes; n++)
            _firstEdge[n + 1] += _firstEdge[n];
        _to = new int[2 * edges.Count];
        _weight = new double[2 * edges.Count];
        var next = _firstEdge.ToArray();
        foreach (var (a, b, w) in edges)
        {
            (_to[next[a]], _weight[next[a]++]) = (b, w);
            (_to[next[b]], _weight[next[b]++]) = (a, w);
        }
    }

    private int Nodes => _firstEdge.Length - 1;

    /// <summary>The owner of every node: the likeliest one, of equal ones the lowest; -1 where no walk meets an owned node.</summary>
    /// <param name="owner">-1 for nodes that have none.</param>
    public int[] Owners(int[] owner, int owners, RunContext run)
    {
        var reached = Reached(owner);
        var best = owner.ToArray();
        var likeliest = new double[Nodes];
        var rest = new double[Nodes];
        Array.Fill(rest, 1);
        for (var o = 0; o < owners; o++)
        {
            var chance = o < owners - 1 ? Potential(owner, o, reached, run) : rest;
            for (var n = 0; n < Nodes; n++)
            {
                if (o < owners - 1)
                    rest[n] -= chance[n];
                if (owner[n] >= 0 || !reached[n] || (best[n] >= 0 && !(chance[n] > likeliest[n])))
                    continue;
                best[n] = o;
                likeliest[n] = chance[n];
            }
        }

        return best;
    }

    private bool[] Reached(int[] owner)
    {
        var reached = Array.ConvertAll(owner, o => o >= 0);
        var queue = new Queue<int>(Enumerable.Range(0, Nodes).Where(n => reached[n]));
        while (queue.TryDequeue(out var n))
        {
            for (var e = _firstEdge[n]; e < _firstEdge[n + 1]; e++)
            {
                if (reached[_to[e]])
                    continue;
                reached[_to[e]] = true;
                queue.Enqueue(_to[e]);
            }
        }

        return reached;
    }

    // 1 at the owner's nodes, 0 at those of others; in between harmonic.
    private double[] Potential(int[] owner, int wanted, bool[] reached, RunContext run)
    {
        double[] x = new double[Nodes], r = new double[Nodes], p = new double[Nodes], a = new double[Nodes], inverse = new double[Nodes];
        for (var n = 0; n < Nodes; n++)
        {
            if (owner[n] >= 0)
            {
                x[n] = owner[n] == wanted ? 1 : 0;
                continue;
            }

            double sum = 0;
            for (var e = _firstEdge[n]; e < _firstEdge[n + 1]; e++)
                sum += _weight[e];
            // Zero for nodes that are not solved for.
            inverse[n] = reached[n] && sum > 0 ? 1 / sum : 0;
        }

        Laplacian(x, a, inverse);
        double rz = 0;
        for (var n = 0; n < Nodes; n++)
        {
            r[n] = -a[n];
            p[n] = inverse[n] * r[n];
            rz += r[n] * p[n];
        }

        var goal = rz * Residual * Residual;
        for (var round = 0; round < 20 * Nodes && rz > goal && rz > 0; round++)
        {
            if ((round & 63) == 0)
                run.ThrowIfCancelled();
            Laplacian(p, a, inverse);
            double pa = 0;
            for (var n = 0; n < Nodes; n++)
                pa += p[n] * a[n];
            if (!(pa > 0))
                break;
            var step = rz / pa;
            double next = 0;
            for (var n = 0; n < Nodes; n++)
            {
                x[n] += step * p[n];
                r[n] -= step * a[n];
                next += r[n] * inverse[n] * r[n];
            }

            var share = next / rz;
            rz = next;
            for (var n = 0; n < Nodes; n++)
                p[n] = (inverse[n] * r[n]) + (share * p[n]);
        }

        return x;
    }

    private void Laplacian(double[] x, double[] result, double[] inverse)
    {
        for (var n = 0; n < Nodes; n++)
        {
            double sum = 0;
            if (inverse[n] > 0)
                for (var e = _firstEdge[n]; e < _firstEdge[n + 1]; e++)
                    sum += _weight[e] * (x[n] - x[_to[e]]);
            result[n] = sum;
        }
    }
}
