using System.Buffers.Binary;
using System.Globalization;
using System.Text;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Tests.Meshing;

/// <summary>Meshes with known truth, and a plain loader for OBJ, OFF and PLY that does nothing but read what is written.</summary>
internal static class TestMeshes
{
    /// <summary>Subdivided icosahedron with corners on the sphere, outward: 10·4^n + 2 vertices, 20·4^n triangles.</summary>
    public static Mesh Icosphere(int subdivisions, double radiusMm = 1, Vec3 centerMm = default)
    {
        var phi = (1 + Math.Sqrt(5)) / 2;
        List<Vec3> points =
        [
            new(-1, phi, 0), new(1, phi, 0), new(-1, -phi, 0), new(1, -phi, 0), new(0, -1, phi), new(0, 1, phi),
            new(0, -1, -phi), new(0, 1, -phi), new(phi, 0, -1), new(phi, 0, 1), new(-phi, 0, -1), new(-phi, 0, 1),
        ];
        int[] triangles =
        [
            0, 11, 5, 0, 5, 1, 0, 1, 7, 0, 7, 10, 0, 10, 11, 1, 5, 9, 5, 11, 4, 11, 10, 2, 10, 7, 6, 7, 1, 8,
            3, 9, 4, 3, 4, 2, 3, 2, 6, 3, 6, 8, 3, 8, 9, 4, 9, 5, 2, 4, 11, 6, 2, 10, 8, 6, 7, 9, 8, 1,
        ];
        for (var i = 0; i < points.Count; i++)
            points[i] = points[i].Normalized();
        for (var level = 0; level < subdivisions; level++)
            triangles = SplitInFour(points, triangles);
        return Of([.. points.Select(p => (p * radiusMm) + centerMm)], triangles, centerMm);
    }

    /// <summary>Axis-aligned box of 8 vertices and 12 triangles, outward.</summary>
    public static Mesh Box(Vec3 minMm, Vec3 maxMm)
    {
        var points = new Vec3[8];
        for (var i = 0; i < 8; i++)
            points[i] = new((i & 1) == 0 ? minMm.X : maxMm.X, (i & 2) == 0 ? minMm.Y : maxMm.Y, (i & 4) == 0 ? minMm.Z : maxMm.Z);
        return Of(points, [0, 2, 3, 0, 3, 1, 4, 5, 7, 4, 7, 6, 0, 1, 5, 0, 5, 4, 2, 6, 7, 2, 7, 3, 0, 4, 6, 0, 6, 2, 1, 3, 7, 1, 7, 5]);
    }

    public static Mesh Cube(double edgeMm = 1) => Box(Vec3.Zero, new Vec3(edgeMm, edgeMm, edgeMm));

    /// <summary>Torus about the z axis, outward: around·across vertices, twice as many triangles, genus 1.</summary>
    public static Mesh Torus(double ringMm, double tubeMm, int around, int across)
    {
        var points = new Vec3[around * across];
        var triangles = new List<int>();
        for (var i = 0; i < around; i++)
        {
            for (var j = 0; j < across; j++)
            {
                var (sa, ca) = Math.SinCos(2 * Math.PI * i / around);
                var (sb, cb) = Math.SinCos(2 * Math.PI * j / across);
                points[(i * across) + j] = new((ringMm + (tubeMm * cb)) * ca, (ringMm + (tubeMm * cb)) * sa, tubeMm * sb);
                int a = (i * across) + j, b = ((i + 1) % around * across) + j;
                int c = ((i + 1) % around * across) + ((j + 1) % across), d = (i * across) + ((j + 1) % across);
                triangles.AddRange([a, b, c, a, c, d]);
            }
        }

        return Of(points, [.. triangles]);
    }

    /// <summary>Open sheet z = height(x, y) over [0, widthMm] × [0, depthMm], facing +z: (columns+1)·(rows+1) vertices.</summary>
    public static Mesh GridSheet(int columns, int rows, double widthMm, double depthMm, Func<double, double, double>? heightMm = null)
    {
        var points = new List<Vec3>();
        var triangles = new List<int>();
        for (var r = 0; r <= rows; r++)
        {
            for (var c = 0; c <= columns; c++)
            {
                double x = widthMm * c / columns, y = depthMm * r / rows;
                points.Add(new Vec3(x, y, heightMm?.Invoke(x, y) ?? 0));
                if (c == columns || r == rows)
                    continue;
                int a = (r * (columns + 1)) + c, b = a + 1, e = a + columns + 1, d = e + 1;
                triangles.AddRange([a, b, d, a, d, e]);
            }
        }

        return Of([.. points], [.. triangles]);
    }

    /// <summary>Regular tetrahedron, octahedron, icosahedron or dodecahedron (faces cut in three) of edge 1, outward.</summary>
    public static Mesh Platonic(int faces)
    {
        switch (faces)
        {
            case 4:
                return Of([new(1, 1, 1), new(1, -1, -1), new(-1, 1, -1), new(-1, -1, 1)], [0, 1, 2, 0, 3, 1, 0, 2, 3, 1, 3, 2], scale: 1 / Math.Sqrt(8));
            case 6:
                return Cube();
            case 8:
                return Of(
                    [new(1, 0, 0), new(-1, 0, 0), new(0, 1, 0), new(0, -1, 0), new(0, 0, 1), new(0, 0, -1)],
                    [0, 2, 4, 2, 1, 4, 1, 3, 4, 3, 0, 4, 2, 0, 5, 1, 2, 5, 3, 1, 5, 0, 3, 5],
                    scale: 1 / Math.Sqrt(2));
            case 20:
                return Icosphere(0, Math.Sqrt(10 + (2 * Math.Sqrt(5))) / 4);
            case 12:
                return Dodecahedron();
            default:
                throw new ArgumentOutOfRangeException(nameof(faces));
        }
    }

    /// <summary>One mesh of several, vertices kept apart; positions are patient millimetres.</summary>
    public static Mesh Join(params Mesh[] meshes)
    {
        var points = new List<Vec3>();
        var triangles = new List<int>();
        foreach (var mesh in meshes)
        {
            var first = points.Count;
            for (var v = 0; v < mesh.VertexCount; v++)
                points.Add(mesh.Vertex(v));
            foreach (var v in mesh.Triangles)
                triangles.Add(first + v);
        }

        return Of([.. points], [.. triangles]);
    }

    public static Mesh Moved(this Mesh mesh, Affine3 map)
    {
        var points = new Vec3[mesh.VertexCount];
        for (var v = 0; v < points.Length; v++)
            points[v] = map.Map(mesh.Vertex(v));
        return Of(points, mesh.Triangles.ToArray());
    }

    /// <summary>Every triangle turned over.</summary>
    public static Mesh Turned(this Mesh mesh)
    {
        var triangles = mesh.Triangles.ToArray();
        for (var t = 0; t < triangles.Length; t += 3)
            (triangles[t + 1], triangles[t + 2]) = (triangles[t + 2], triangles[t + 1]);
        return new(mesh.OriginMm, mesh.PositionArray, triangles);
    }

    /// <summary>The mesh without one triangle.</summary>
    public static Mesh Without(this Mesh mesh, int triangle) =>
        new(mesh.OriginMm, mesh.PositionArray, [.. mesh.Triangles[..(3 * triangle)], .. mesh.Triangles[(3 * triangle + 3)..]]);

    /// <summary>Every triangle with corners of its own.</summary>
    public static Mesh Soup(this Mesh mesh)
    {
        var positions = new float[9 * mesh.TriangleCount];
        var triangles = new int[3 * mesh.TriangleCount];
        for (var c = 0; c < triangles.Length; c++)
        {
            triangles[c] = c;
            mesh.Positions.Slice(3 * mesh.Triangles[c], 3).CopyTo(positions.AsSpan(3 * c));
        }

        return new(mesh.OriginMm, positions, triangles);
    }

    /// <summary>Vertices of equal coordinates joined, in order of first use; vertices no triangle uses are left out.</summary>
    public static Mesh Welded(this Mesh mesh)
    {
        var seen = new Dictionary<(float, float, float), int>();
        var positions = new List<float>();
        var triangles = new int[mesh.Triangles.Length];
        for (var c = 0; c < triangles.Length; c++)
        {
            var p = mesh.Positions.Slice(3 * mesh.Triangles[c], 3);
            // +0 turns −0 into 0, which compares equal but must also hash equal.
            var key = (p[0] + 0f, p[1] + 0f, p[2] + 0f);
            if (!seen.TryGetValue(key, out var v))
            {
                v = seen.Count;
                seen.Add(key, v);
                positions.AddRange(p);
            }

            triangles[c] = v;
        }

        return new(mesh.OriginMm, [.. positions], triangles);
    }

    public static Mesh Of(Vec3[] points, int[] triangles, Vec3 originMm = default, double scale = 1)
    {
        var positions = new float[3 * points.Length];
        for (var v = 0; v < points.Length; v++)
        {
            var p = (points[v] * scale) - originMm;
            (positions[3 * v], positions[(3 * v) + 1], positions[(3 * v) + 2]) = ((float)p.X, (float)p.Y, (float)p.Z);
        }

        return new(originMm, positions, triangles);
    }

    /// <summary>OBJ (positions, faces cut into fans), OFF or binary little-endian PLY with float positions.</summary>
    public static Mesh Load(string path) => Path.GetExtension(path) switch
    {
        ".obj" => LoadObj(path),
        ".off" => LoadOff(path),
        ".ply" => LoadPly(path),
        var other => throw new NotSupportedException(other),
    };

    /// <summary>A mesh of the shared data folder.</summary>
    public static Mesh Shared(string name) => Load(SharedData.File($"data/meshes/{name}"));

    /// <summary>Binary STL as any outside program reads it.</summary>
    public static void WriteStl(Mesh mesh, string path)
    {
        var bytes = new byte[84 + (50 * mesh.TriangleCount)];
        BinaryPrimitives.WriteInt32LittleEndian(bytes.AsSpan(80), mesh.TriangleCount);
        for (var c = 0; c < mesh.Triangles.Length; c++)
        {
            for (var axis = 0; axis < 3; axis++)
                BinaryPrimitives.WriteSingleLittleEndian(
                    bytes.AsSpan(84 + (50 * (c / 3)) + 12 + (12 * (c % 3)) + (4 * axis)), (float)mesh.Vertex(mesh.Triangles[c])[axis]);
        }

        File.WriteAllBytes(path, bytes);
    }

    /// <summary>OFF with positions relative to the mesh's origin, every digit of them.</summary>
    public static void WriteOff(Mesh mesh, string path)
    {
        using var file = new StreamWriter(path);
        file.WriteLine(FormattableString.Invariant($"OFF {mesh.VertexCount} {mesh.TriangleCount} 0"));
        for (var v = 0; v < mesh.VertexCount; v++)
            file.WriteLine(FormattableString.Invariant($"{mesh.Local(v).X:R} {mesh.Local(v).Y:R} {mesh.Local(v).Z:R}"));
        for (var t = 0; t < mesh.TriangleCount; t++)
            file.WriteLine(FormattableString.Invariant($"3 {mesh.Triangle(t).A} {mesh.Triangle(t).B} {mesh.Triangle(t).C}"));
    }

    private static Mesh Dodecahedron()
    {
        // Dual of the icosahedron: its vertices are the centres of the icosahedron's faces, scaled to edge 1.
        var ico = Icosphere(0);
        var centers = Enumerable.Range(0, 20).Select(t =>
        {
            var (a, b, c) = ico.Triangle(t);
            return (ico.Vertex(a) + ico.Vertex(b) + ico.Vertex(c)).Normalized() * (Math.Sqrt(3) * (1 + Math.Sqrt(5)) / 4);
        }).ToArray();
        var triangles = new List<int>();
        for (var v = 0; v < 12; v++)
        {
            var axis = ico.Vertex(v).Normalized();
            var side = Vec3.Cross(axis, Math.Abs(axis.X) < 0.5 ? new Vec3(1, 0, 0) : new Vec3(0, 1, 0)).Normalized();
            var ring = Enumerable.Range(0, 20)
                .Where(t => ico.Triangle(t).A == v || ico.Triangle(t).B == v || ico.Triangle(t).C == v)
                .OrderBy(t => Math.Atan2(Vec3.Dot(centers[t], Vec3.Cross(axis, side)), Vec3.Dot(centers[t], side)))
                .ToArray();
            triangles.AddRange([ring[0], ring[1], ring[2], ring[0], ring[2], ring[3], ring[0], ring[3], ring[4]]);
        }

        return Of(centers, [.. triangles]);
    }

    private static int[] SplitInFour(List<Vec3> points, int[] triangles)
    {
        var middles = new Dictionary<(int, int), int>();
        int Middle(int a, int b)
        {
            var key = (Math.Min(a, b), Math.Max(a, b));
            if (!middles.TryGetValue(key, out var m))
            {
                m = points.Count;
                points.Add((points[a] + points[b]).Normalized());
                middles.Add(key, m);
            }

            return m;
        }

        var split = new int[4 * triangles.Length];
        for (int t = 0, n = 0; t < triangles.Length; t += 3)
        {
            int a = triangles[t], b = triangles[t + 1], c = triangles[t + 2];
            int ab = Middle(a, b), bc = Middle(b, c), ca = Middle(c, a);
            foreach (var v in new[] { a, ab, ca, b, bc, ab, c, ca, bc, ab, bc, ca })
                split[n++] = v;
        }

        return split;
    }

    private static Mesh LoadObj(string path)
    {
        var positions = new List<float>();
        var triangles = new List<int>();
        foreach (var line in File.ReadLines(path))
        {
            var words = line.Split((char[]?)null, StringSplitOptions.RemoveEmptyEntries);
            if (words.Length < 4)
                continue;
            if (words[0] == "v")
                positions.AddRange(words.Skip(1).Take(3).Select(w => float.Parse(w, CultureInfo.InvariantCulture)));
            if (words[0] != "f")
                continue;
            var corners = words.Skip(1).Select(w => int.Parse(w.Split('/')[0], CultureInfo.InvariantCulture) - 1).ToArray();
            for (var i = 2; i < corners.Length; i++)
                triangles.AddRange([corners[0], corners[i - 1], corners[i]]);
        }

        return new(Vec3.Zero, [.. positions], [.. triangles]);
    }

    private static Mesh LoadOff(string path)
    {
        var words = File.ReadLines(path).Select(l => l.Split('#')[0])
            .SelectMany(l => l.Split((char[]?)null, StringSplitOptions.RemoveEmptyEntries)).ToArray();
        int Whole(int i) => int.Parse(words[i], CultureInfo.InvariantCulture);
        int vertices = Whole(1), faces = Whole(2), at = 4;
        var positions = new float[3 * vertices];
        for (var i = 0; i < positions.Length; i++)
            positions[i] = float.Parse(words[at++], CultureInfo.InvariantCulture);
        var triangles = new List<int>();
        for (var f = 0; f < faces; f++)
        {
            var corners = Whole(at);
            for (var i = 3; i <= corners; i++)
                triangles.AddRange([Whole(at + 1), Whole(at + i - 1), Whole(at + i)]);
            at += corners + 1;
        }

        return new(Vec3.Zero, positions, [.. triangles]);
    }

    private static Mesh LoadPly(string path)
    {
        var bytes = File.ReadAllBytes(path);
        var end = bytes.AsSpan().IndexOf("end_header\n"u8) + "end_header\n".Length;
        var header = Encoding.ASCII.GetString(bytes, 0, end).Split('\n');
        if (!header.Contains("format binary_little_endian 1.0"))
            throw new NotSupportedException("Only binary little-endian PLY.");
        int vertices = 0, faces = 0, stride = 0;
        var inVertex = false;
        foreach (var line in header)
        {
            var words = line.Split(' ');
            if (words[0] == "element")
            {
                inVertex = words[1] == "vertex";
                if (inVertex)
                    vertices = int.Parse(words[2], CultureInfo.InvariantCulture);
                else if (words[1] == "face")
                    faces = int.Parse(words[2], CultureInfo.InvariantCulture);
            }
            else if (words[0] == "property" && inVertex)
            {
                stride += words[1] is "float" or "float32" ? 4 : throw new NotSupportedException(line);
            }
        }

        var positions = new float[3 * vertices];
        for (var i = 0; i < positions.Length; i++)
            positions[i] = BinaryPrimitives.ReadSingleLittleEndian(bytes.AsSpan(end + (i / 3 * stride) + (4 * (i % 3))));
        var triangles = new int[3 * faces];
        var at = end + (vertices * stride);
        for (var f = 0; f < faces; f++, at += 13)
        {
            if (bytes[at] != 3)
                throw new NotSupportedException("Only triangles.");
            for (var c = 0; c < 3; c++)
                triangles[(3 * f) + c] = BinaryPrimitives.ReadInt32LittleEndian(bytes.AsSpan(at + 1 + (4 * c)));
        }

        return new(Vec3.Zero, positions, triangles);
    }
}
