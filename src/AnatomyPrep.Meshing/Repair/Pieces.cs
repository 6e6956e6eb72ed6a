using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>The pieces of a mesh: sets of triangles that hang together by shared vertices, numbered by first triangle.</summary>
/// <remarks>
/// Union-find over vertices with path halving, smallest vertex as root, so numbering is the same on any machine.
/// O(triangles); peak: two ints per vertex and one per triangle, and the edge table.
/// </remarks>
internal sealed class Pieces
{
    private Pieces(int[] pieceOfTriangle, Piece[] all)
    {
        PieceOfTriangle = pieceOfTriangle;
        All = all;
    }

    public int[] PieceOfTriangle { get; }

    public IReadOnlyList<Piece> All { get; }

    public static Pieces Find(Mesh mesh, RunContext run)
    {
        run.ThrowIfCancelled();
        var ofTriangle = Label(mesh.Triangles, mesh.VertexCount, out var count);
        run.ThrowIfCancelled();
        return new(ofTriangle, Measure(mesh, ofTriangle, count, EdgeTable.Build(mesh)));
    }

    /// <summary>Finds the shell that each inward-facing closed piece (a cavity) lies in, by <see cref="ShellNesting"/>.</summary>
    /// <returns>Per piece: the smallest closed outward piece around it, or -1. Only for pieces that face inward.</returns>
    public int[] FindShellsOfCavities(Mesh mesh, RunContext run)
    {
        var shell = new int[All.Count];
        Array.Fill(shell, -1);
        bool[] cavity = [.. All.Select(p => p.FacesInward)], solid = [.. All.Select(p => p.IsClosed && !p.FacesInward)];
        if (!cavity.Contains(true) || !solid.Contains(true))
            return shell;
        var around = ShellNesting.Containers(TriangleTree.Build(mesh, run), PieceOfTriangle, solid, run, cavity);
        for (var p = 0; p < shell.Length; p++)
            foreach (var other in around[p])
                if (shell[p] < 0 || All[other].VolumeMm3 < All[shell[p]].VolumeMm3)
                    shell[p] = other;
        return shell;
    }

    /// <summary>Number of the piece of each triangle, without measuring them.</summary>
    public static int[] Label(ReadOnlySpan<int> triangles, int vertexCount, out int count)
    {
        var root = new int[vertexCount];
        for (var v = 0; v < vertexCount; v++)
            root[v] = v;
        for (var i = 0; i < triangles.Length; i += 3)
        {
            Join(root, triangles[i], triangles[i + 1]);
            Join(root, triangles[i], triangles[i + 2]);
        }

        var ofTriangle = new int[triangles.Length / 3];
        var number = new int[vertexCount];
        Array.Fill(number, -1);
        count = 0;
        for (var t = 0; t < ofTriangle.Length; t++)
        {
            ref var piece = ref number[Root(root, triangles[3 * t])];
            if (piece < 0)
                piece = count++;
            ofTriangle[t] = piece;
        }

        return ofTriangle;
    }

    private static Piece[] Measure(Mesh mesh, int[] ofTriangle, int count, EdgeTable edges)
    {
        var pieces = new Piece[count];
        for (var p = 0; p < count; p++)
            pieces[p] = new Piece(-1, 0, 0, 0, true, -1);
        var center = mesh.BoundsMm().Center - mesh.OriginMm;
        for (var t = 0; t < ofTriangle.Length; t++)
        {
            ref var piece = ref pieces[ofTriangle[t]];
            var (a, b, c) = mesh.Triangle(t);
            Vec3 pa = mesh.Local(a) - center, pb = mesh.Local(b) - center, pc = mesh.Local(c) - center;
            var closed = edges.Opposite[3 * t] >= 0 && edges.Opposite[(3 * t) + 1] >= 0 && edges.Opposite[(3 * t) + 2] >= 0;
            piece = new Piece(
                piece.FirstTriangle < 0 ? t : piece.FirstTriangle,
                piece.Triangles + 1,
                piece.AreaMm2 + (Vec3.Cross(pb - pa, pc - pa).Length / 2),
                piece.SignedVolumeMm3 + (Vec3.Dot(pa, Vec3.Cross(pb, pc)) / 6),
                piece.IsClosed && closed,
                Highest(mesh, piece.TopVertex, a, b, c));
        }

        return pieces;
    }

    private static int Highest(Mesh mesh, int top, int a, int b, int c)
    {
        if (top < 0 || mesh.Positions[(3 * a) + 2] > mesh.Positions[(3 * top) + 2])
            top = a;
        if (mesh.Positions[(3 * b) + 2] > mesh.Positions[(3 * top) + 2])
            top = b;
        return mesh.Positions[(3 * c) + 2] > mesh.Positions[(3 * top) + 2] ? c : top;
    }

    private static void Join(int[] root, int a, int b)
    {
        a = Root(root, a);
        b = Root(root, b);
        if (a < b)
            root[b] = a;
        else
            root[a] = b;
    }

    private static int Root(int[] root, int v)
    {
        while (root[v] != v)
        {
            root[v] = root[root[v]];
            v = root[v];
        }

        return v;
    }
}

/// <summary>One piece of a mesh.</summary>
/// <param name="SignedVolumeMm3">Negative for a closed piece that faces inward; means nothing for an open one.</param>
/// <param name="IsClosed">Every edge has exactly two triangles that run along it in opposite directions.</param>
/// <param name="TopVertex">Vertex with the largest z, the first such.</param>
internal readonly record struct Piece(
    int FirstTriangle, int Triangles, double AreaMm2, double SignedVolumeMm3, bool IsClosed, int TopVertex)
{
    public bool FacesInward => IsClosed && SignedVolumeMm3 < 0;

    /// <summary>0 for an open piece, which bounds no volume.</summary>
    public double VolumeMm3 => IsClosed ? Math.Abs(SignedVolumeMm3) : 0;
}
