using System.Buffers.Binary;
using System.Globalization;
using System.Security.Cryptography;
using System.Text;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Tests.Meshing.Repair;

/// <summary>Analytic meshes, a bare reader of the shared ones, and what the repair tests ask of a mesh.</summary>
internal static class RepairMeshes
{
    /// <summary>Icosahedron, each triangle cut in four <paramref name="subdivisions"/> times, every vertex on the sphere.</summary>
    public static Mesh Sphere(double radiusMm, int subdivisions, Vec3 centerMm = default)
    {
        var g = (1 + Math.Sqrt(5)) / 2;
        Vec3[] corners =
        [
            new(-1, g, 0), new(1, g, 0), new(-1, -g, 0), new(1, -g, 0), new(0, -1, g), new(0, 1, g),
            new(0, -1, -g), new(0, 1, -g), new(g, 0, -1), new(g, 0, 1), new(-g, 0, -1), new(-g, 0, 1),
        ];
        var points = corners.Select(p => p.Normalized()).ToList();
        List<(int A, int B, int C)> faces =
        [
            (0, 11, 5), (0, 5, 1), (0, 1, 7), (0, 7, 10), (0, 10, 11), (1, 5, 9), (5, 11, 4), (11, 10, 2), (10, 7, 6), (7, 1, 8),
            (3, 9, 4), (3, 4, 2), (3, 2, 6), (3, 6, 8), (3, 8, 9), (4, 9, 5), (2, 4, 11), (6, 2, 10), (8, 6, 7), (9, 8, 1),
        ];
        for (var s = 0; s < subdivisions; s++)
        {
            var middle = new Dictionary<(int, int), int>();
            int Mid(int a, int b)
            {
                var key = (Math.Min(a, b), Math.Max(a, b));
                if (!middle.TryGetValue(key, out var m))
                {
                    m = points.Count;
                    points.Add((points[a] + points[b]).Normalized());
                    middle[key] = m;
                }

                return m;
            }

            faces = [.. faces.SelectMany(f =>
            {
                int ab = Mid(f.A, f.B), bc = Mid(f.B, f.C), ca = Mid(f.C, f.A);
                return ((int, int, int)[])[(f.A, ab, ca), (f.B, bc, ab), (f.C, ca, bc), (ab, bc, ca)];
            })];
        }

        return FromPoints([.. points.Select(p => (p * radiusMm) + centerMm)], [.. faces]);
    }

    /// <summary>A flat sheet in z = 0, facing up, one vertex every step; corner at the origin.</summary>
    public static Mesh Sheet(int columns, int rows, double stepMm)
    {
        var points = new List<Vec3>();
        for (var y = 0; y <= rows; y++)
            for (var x = 0; x <= columns; x++)
                points.Add(new(x * stepMm, y * stepMm, 0));
        var faces = new List<(int, int, int)>();
        for (var y = 0; y < rows; y++)
        {
            for (var x = 0; x < columns; x++)
            {
                int a = (y * (columns + 1)) + x, b = a + 1, c = b + columns + 1, d = c - 1;
                faces.Add((a, b, c));
                faces.Add((a, c, d));
            }
        }

        return FromPoints([.. points], [.. faces]);
    }

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

    public static Mesh FromPoints(Vec3[] points, (int A, int B, int C)[] faces, Vec3 originMm = default)
    {
        var builder = new MeshBuilder(originMm);
        foreach (var p in points)
            builder.AddVertex(p);
        foreach (var (a, b, c) in faces)
            builder.AddTriangle(a, b, c);
        return builder.Build();
    }

    public static Mesh Turned(Mesh mesh)
    {
        var triangles = mesh.Triangles.ToArray();
        for (var t = 0; t < mesh.TriangleCount; t++)
            (triangles[(3 * t) + 1], triangles[(3 * t) + 2]) = (triangles[(3 * t) + 2], triangles[(3 * t) + 1]);
        return new(mesh.OriginMm, mesh.Positions.ToArray(), triangles, mesh.Origins.ToArray());
    }

    /// <summary>All meshes in one, vertices not shared; all must have the same origin.</summary>
    public static Mesh Together(params Mesh[] meshes)
    {
        List<float> positions = [];
        List<int> triangles = [];
        List<Origin> origins = [];
        foreach (var mesh in meshes)
        {
            var shift = positions.Count / 3;
            positions.AddRange(mesh.Positions);
            foreach (var v in mesh.Triangles)
                triangles.Add(v + shift);
            origins.AddRange(mesh.Origins);
        }

        return new(meshes[0].OriginMm, [.. positions], [.. triangles], [.. origins]);
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

    public static int Euler(Mesh mesh) => mesh.VertexCount - EdgeTable.Build(mesh).EdgeCount + mesh.TriangleCount;

    public static void ShouldBeClosed(Mesh mesh)
    {
        var edges = EdgeTable.Build(mesh);
        edges.BoundaryEdges.Should().Be(0);
        edges.NonManifoldEdges.Should().Be(0);
        edges.InconsistentEdges.Should().Be(0);
    }

    public static RunContext Threads(int threads) => new(threads: threads);

    public static Mesh Shared(string name) => Load(SharedData.File($"data/meshes/{name}"));

    private static Mesh Load(string path) => Path.GetExtension(path) switch
    {
        ".off" => LoadOff(path),
        ".obj" => LoadObj(path),
        ".ply" => LoadPly(path),
        var other => throw new NotSupportedException(other),
    };

    private static Mesh LoadOff(string path)
    {
        var words = File.ReadLines(path).SelectMany(l => l.Split('#')[0].Split(' ', '\t')).Where(w => w.Length > 0).Skip(1).GetEnumerator();
        string Word() => words.MoveNext() ? words.Current : throw new EndOfStreamException();
        int Int() => int.Parse(Word(), CultureInfo.InvariantCulture);
        int vertices = Int(), faces = Int();
        Int();
        var positions = new float[3 * vertices];
        for (var i = 0; i < positions.Length; i++)
            positions[i] = float.Parse(Word(), CultureInfo.InvariantCulture);
        var triangles = new int[3 * faces];
        for (var t = 0; t < faces; t++)
        {
            Int().Should().Be(3);
            for (var c = 0; c < 3; c++)
                triangles[(3 * t) + c] = Int();
        }

        return new(Vec3.Zero, positions, triangles);
    }

    private static Mesh LoadObj(string path)
    {
        List<float> positions = [];
        List<int> triangles = [];
        foreach (var line in File.ReadLines(path))
        {
            var words = line.Split(' ', StringSplitOptions.RemoveEmptyEntries);
            if (words.Length > 3 && words[0] == "v")
                positions.AddRange(words[1..4].Select(w => float.Parse(w, CultureInfo.InvariantCulture)));
            if (words.Length <= 3 || words[0] != "f")
                continue;
            var face = words[1..].Select(w => int.Parse(w.Split('/')[0], CultureInfo.InvariantCulture) - 1).ToArray();
            for (var k = 1; k + 1 < face.Length; k++)
                triangles.AddRange([face[0], face[k], face[k + 1]]);
        }

        return new(Vec3.Zero, [.. positions], [.. triangles]);
    }

    private static Mesh LoadPly(string path)
    {
        var bytes = File.ReadAllBytes(path);
        var end = bytes.AsSpan().IndexOf("end_header\n"u8) + "end_header\n".Length;
        var header = Encoding.ASCII.GetString(bytes, 0, end).Split('\n');
        int Count(string element) => int.Parse(header.Single(l => l.StartsWith($"element {element} ", StringComparison.Ordinal)).Split(' ')[2], CultureInfo.InvariantCulture);
        var positions = new float[3 * Count("vertex")];
        for (var i = 0; i < positions.Length; i++)
            positions[i] = BinaryPrimitives.ReadSingleLittleEndian(bytes.AsSpan(end + (4 * i)));
        var triangles = new int[3 * Count("face")];
        var at = end + (4 * positions.Length);
        for (var t = 0; t < triangles.Length; t += 3, at += 13)
            for (var c = 0; c < 3; c++)
                triangles[t + c] = BinaryPrimitives.ReadInt32LittleEndian(bytes.AsSpan(at + 1 + (4 * c)));
        return new(Vec3.Zero, positions, triangles);
    }

    /// <summary>Vertices with equal coordinates joined; the first stays.</summary>
    public static Mesh Welded(Mesh mesh)
    {
        var first = new Dictionary<(float, float, float), int>();
        List<float> positions = [];
        var renumber = new int[mesh.VertexCount];
        for (var v = 0; v < mesh.VertexCount; v++)
        {
            var p = mesh.Positions.Slice(3 * v, 3);
            // Negative and positive zero are one place.
            var key = (p[0] + 0f, p[1] + 0f, p[2] + 0f);
            if (!first.TryGetValue(key, out renumber[v]))
            {
                renumber[v] = first[key] = positions.Count / 3;
                positions.AddRange(p);
            }
        }

        var triangles = mesh.Triangles.ToArray();
        for (var c = 0; c < triangles.Length; c++)
            triangles[c] = renumber[triangles[c]];
        return new(mesh.OriginMm, [.. positions], triangles, mesh.Origins.ToArray());
    }
}
