using System.Security.Cryptography;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Tests.Meshing.Repair;

/// <summary>More analytic meshes, and what the repair tests ask of a mesh.</summary>
internal static class RepairMeshes
{
    /// <summary>A flat sheet in z = 0, facing up, one vertex every step; corner at the origin.</summary>
    public static Mesh Sheet(int columns, int rows, double stepMm) => TestMeshes.GridSheet(columns, rows, columns * stepMm, rows * stepMm);

    /// <summary>An open tube about z, facing outward.</summary>
    public static Mesh Tube(double radiusMm, double heightMm, int around, int along)
    {
        var points = new List<Vec3>();
        for (var k = 0; k <= along; k++)
            for (var i = 0; i < around; i++)
                points.Add(new(radiusMm * Math.Cos(2 * Math.PI * i / around), radiusMm * Math.Sin(2 * Math.PI * i / around), heightMm * k / along));
        var faces = new List<(int, int, int)>();
        for (var k = 0; k < along; k++)
        {
            for (var i = 0; i < around; i++)
            {
                int a = (k * around) + i, b = (k * around) + ((i + 1) % around), c = b + around, d = a + around;
                faces.Add((a, b, c));
                faces.Add((a, c, d));
            }
        }

        return FromPoints([.. points], [.. faces]);
    }

    /// <summary>24 triangles between 14 points of a coarse grid, at random: every fault there is, many times over.</summary>
    public static Mesh RandomSoup(int seed)
    {
        var random = new Random(seed);
        var points = Enumerable.Range(0, 14).Select(_ => new Vec3(random.Next(4), random.Next(4), random.Next(3))).ToArray();
        var faces = Enumerable.Range(0, 24).Select(_ => (random.Next(14), random.Next(14), random.Next(14))).ToArray();
        return FromPoints(points, faces);
    }

    public static Mesh FromPoints(Vec3[] points, (int A, int B, int C)[] faces, Vec3 originMm = default)
    {
        var builder = new MeshBuilder(originMm);
        foreach (var p in points)
            builder.AddVertex(p);
        foreach (var (a, b, c) in faces)
            builder.AddTriangle(a, b, c);
        return builder.Build();
    }

    /// <summary>Without the triangles whose centroid the test names.</summary>
    public static Mesh Without(Mesh mesh, Func<Vec3, bool> gone)
    {
        var triangles = new List<int>();
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            if (!gone((mesh.Vertex(a) + mesh.Vertex(b) + mesh.Vertex(c)) / 3))
                triangles.AddRange([a, b, c]);
        }

        return new(mesh.OriginMm, mesh.Positions.ToArray(), [.. triangles]);
    }

    public static string Hash(Mesh mesh)
    {
        using var hash = IncrementalHash.CreateHash(HashAlgorithmName.SHA256);
        hash.AppendData(System.Runtime.InteropServices.MemoryMarshal.AsBytes(mesh.Positions));
        hash.AppendData(System.Runtime.InteropServices.MemoryMarshal.AsBytes(mesh.Triangles));
        hash.AppendData(System.Runtime.InteropServices.MemoryMarshal.AsBytes(mesh.Origins));
        return Convert.ToHexString(hash.GetHashAndReset());
    }

    /// <summary>Corner positions of each triangle as bits, turned so that the smallest corner comes first: what a triangle is, whatever its number.</summary>
    public static HashSet<string> TriangleBytes(Mesh mesh, Func<int, bool>? only = null)
    {
        var set = new HashSet<string>();
        for (var t = 0; t < mesh.TriangleCount; t++)
            if (only is null || only(t))
                set.Add(TriangleKey(mesh, t));
        return set;
    }

    public static string TriangleKey(Mesh mesh, int t)
    {
        var (a, b, c) = mesh.Triangle(t);
        var corners = new[] { a, b, c }.Select(v => string.Join(',', mesh.Positions.Slice(3 * v, 3).ToArray().Select(BitConverter.SingleToInt32Bits))).ToArray();
        var first = Array.IndexOf(corners, corners.Min(StringComparer.Ordinal));
        return $"{corners[first]};{corners[(first + 1) % 3]};{corners[(first + 2) % 3]}";
    }

    /// <param name="used">Count only vertices that a triangle uses.</param>
    public static int Euler(Mesh mesh, bool used = false)
    {
        var vertices = used ? mesh.TriangleArray.Distinct().Count() : mesh.VertexCount;
        return vertices - EdgeTable.Build(mesh).EdgeCount + mesh.TriangleCount;
    }

    /// <summary>Vertices whose triangles do not form one fan: counted corner by corner, with nothing of the product's.</summary>
    public static int NonManifoldVertices(Mesh mesh)
    {
        var corners = Enumerable.Range(0, mesh.Triangles.Length).ToLookup(c => mesh.Triangles[c]);
        var count = 0;
        foreach (var vertex in corners)
        {
            var left = vertex.Select(c => (P: mesh.Triangles[EdgeTable.Next(c)], Q: mesh.Triangles[EdgeTable.Previous(c)])).ToList();
            var fan = new HashSet<int> { left[0].P, left[0].Q };
            left.RemoveAt(0);
            while (left.RemoveAll(t => (fan.Contains(t.P) && fan.Add(t.Q) | true) || (fan.Contains(t.Q) && fan.Add(t.P) | true)) > 0)
            {
            }

            count += left.Count > 0 ? 1 : 0;
        }

        return count;
    }

    public static void ShouldBeClosed(Mesh mesh)
    {
        var edges = EdgeTable.Build(mesh);
        edges.BoundaryEdges.Should().Be(0);
        edges.NonManifoldEdges.Should().Be(0);
        edges.InconsistentEdges.Should().Be(0);
    }

    public static RunContext Threads(int threads) => new(threads: threads);
}
