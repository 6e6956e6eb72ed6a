using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>A hole and what surrounds it, in numbers of its own: rim 0 … n-1 in the direction of the patch, then the ring outside.</summary>
internal sealed class HoleRim
{
    private readonly HashSet<(int, int)> _joined = [];

    /// <param name="vertices">Rim vertices in the direction in which the patch runs, against the border half-edges.</param>
    public HoleRim(Mesh mesh, VertexTriangles around, int[] vertices)
    {
        Vertices = vertices;
        Points = Array.ConvertAll(vertices, mesh.Local);
        OutsideNormals = new Vec3[vertices.Length];
        LengthsMm = new double[vertices.Length];
        var number = new Dictionary<int, int>();
        for (var i = 0; i < vertices.Length; i++)
            number[vertices[i]] = i;
        var seen = new HashSet<int>();
        for (var i = 0; i < vertices.Length; i++)
            Gather(mesh, around, i, number, seen);
        LevelLengths();
        for (var i = 0; i < vertices.Length; i++)
            DiameterMm = Math.Max(DiameterMm, Vec3.Distance(Points[i], Points[0]));
        for (var i = 0; i < vertices.Length; i++)
            DiameterMm = Math.Max(DiameterMm, Vec3.Distance(Points[i], Points[vertices.Length / 2]));
    }

    public int[] Vertices { get; }

    public int Count => Vertices.Length;

    public Vec3[] Points { get; }

    /// <summary>Per rim edge i → i + 1: unit normal of the triangle beyond; zero where it has no area or there is none.</summary>
    public Vec3[] OutsideNormals { get; }

    /// <summary>Per rim vertex: mean length of its edges; never less than a quarter of the rim's mean, so that one tiny edge cannot ask for millions of triangles.</summary>
    public double[] LengthsMm { get; }

    /// <summary>Triangles of the surface that touch the rim; ring vertices are numbered from <see cref="Count"/>.</summary>
    public List<(int A, int B, int C)> Ring { get; } = [];

    public List<Vec3> RingPoints { get; } = [];

    /// <summary>At least half the largest distance between rim vertices, at most all of it.</summary>
    public double DiameterMm { get; }

    /// <summary>Does the surface already join these two rim vertices by an edge?</summary>
    public bool AreJoined(int i, int k) => _joined.Contains((Math.Min(i, k), Math.Max(i, k)));

    public void Join(int i, int k) => _joined.Add((Math.Min(i, k), Math.Max(i, k)));

    private void Gather(Mesh mesh, VertexTriangles around, int i, Dictionary<int, int> number, HashSet<int> seen)
    {
        double sum = 0;
        var edges = 0;
        foreach (var corner in around.CornersAt(Vertices[i]))
        {
            int next = mesh.Triangles[EdgeTable.Next(corner)], last = mesh.Triangles[EdgeTable.Previous(corner)];
            sum += Vec3.Distance(Points[i], mesh.Local(next)) + Vec3.Distance(Points[i], mesh.Local(last));
            edges += 2;
            if (seen.Add(corner / 3))
                AddRing(mesh, corner / 3, number);
            NoteEdge(i, next, corner, mesh, number);
            NoteEdge(i, last, corner, mesh, number);
        }

        LengthsMm[i] = edges == 0 ? 0 : sum / edges;
    }

    private void LevelLengths()
    {
        var known = LengthsMm.Where(l => l > 0).ToArray();
        var mean = known.Length > 0 ? known.Average() : 0;
        for (var i = 0; i < LengthsMm.Length; i++)
            LengthsMm[i] = LengthsMm[i] > 0 ? Math.Max(LengthsMm[i], mean / 4) : mean;
    }

    private void NoteEdge(int i, int other, int corner, Mesh mesh, Dictionary<int, int> number)
    {
        if (!number.TryGetValue(other, out var k) || k >= Count || k == i)
            return;
        Join(i, k);
        if (k != (i + 1) % Count)
            return;
        var (a, b, c) = mesh.Triangle(corner / 3);
        OutsideNormals[i] = TriangleShape.Normal(mesh.Local(a), mesh.Local(b), mesh.Local(c));
    }

    private void AddRing(Mesh mesh, int t, Dictionary<int, int> number)
    {
        var (a, b, c) = mesh.Triangle(t);
        Ring.Add((Number(a), Number(b), Number(c)));

        int Number(int v)
        {
            if (number.TryGetValue(v, out var k))
                return k;
            RingPoints.Add(mesh.Local(v));
            return number[v] = Count + RingPoints.Count - 1;
        }
    }
}
