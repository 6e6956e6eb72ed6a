using System.Globalization;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Tests.Meshing.Shape;

/// <summary>Small meshes with known measures, and readers for the meshes of the shared data folder.</summary>
internal static class Solids
{
    internal static Mesh Box(Vec3 min, Vec3 max, Origin origin = Origin.Measured) => Of(
        [min, new(max.X, min.Y, min.Z), new(max.X, max.Y, min.Z), new(min.X, max.Y, min.Z),
         new(min.X, min.Y, max.Z), new(max.X, min.Y, max.Z), max, new(min.X, max.Y, max.Z)],
        [0, 2, 1, 0, 3, 2, 4, 5, 6, 4, 6, 7, 0, 1, 5, 0, 5, 4, 1, 2, 6, 1, 6, 5, 2, 3, 7, 2, 7, 6, 3, 0, 4, 3, 4, 7],
        origin);

    internal static Mesh Of(ReadOnlySpan<Vec3> vertices, ReadOnlySpan<int> triangles, Origin origin = Origin.Measured)
    {
        var builder = new MeshBuilder(Vec3.Zero);
        foreach (var v in vertices)
            builder.AddVertex(v);
        for (var i = 0; i < triangles.Length; i += 3)
            builder.AddTriangle(triangles[i], triangles[i + 1], triangles[i + 2], origin);
        return builder.Build();
    }

    /// <summary>Icosahedron with every triangle quartered <paramref name="subdivisions"/> times, vertices on the sphere.</summary>
    internal static Mesh Icosphere(int subdivisions, double radius, Vec3 center = default)
    {
        var g = (1 + Math.Sqrt(5)) / 2;
        List<Vec3> vertices =
        [
            new(-1, g, 0), new(1, g, 0), new(-1, -g, 0), new(1, -g, 0), new(0, -1, g), new(0, 1, g),
            new(0, -1, -g), new(0, 1, -g), new(g, 0, -1), new(g, 0, 1), new(-g, 0, -1), new(-g, 0, 1),
        ];
        int[] triangles =
        [
            0, 11, 5, 0, 5, 1, 0, 1, 7, 0, 7, 10, 0, 10, 11, 1, 5, 9, 5, 11, 4, 11, 10, 2, 10, 7, 6, 7, 1, 8,
            3, 9, 4, 3, 4, 2, 3, 2, 6, 3, 6, 8, 3, 8, 9, 4, 9, 5, 2, 4, 11, 6, 2, 10, 8, 6, 7, 9, 8, 1,
        ];
        for (var level = 0; level < subdivisions; level++)
            triangles = Quartered(vertices, triangles);
        return Of([.. vertices.Select(v => center + (v.Normalized() * radius))], triangles);
    }

    internal static Mesh Torus(double ringRadius, double tubeRadius, int ring, int tube)
    {
        var vertices = new Vec3[ring * tube];
        for (var i = 0; i < ring; i++)
            for (var j = 0; j < tube; j++)
            {
                var (su, cu) = Math.SinCos(2 * Math.PI * i / ring);
                var (sv, cv) = Math.SinCos(2 * Math.PI * j / tube);
                vertices[(i * tube) + j] = new(cu * (ringRadius + (tubeRadius * cv)), su * (ringRadius + (tubeRadius * cv)), tubeRadius * sv);
            }

        return Of(vertices, Wrapped(ring, tube));
    }

    /// <summary>A flat sheet of squares, each cut in two, in z = 0 with normal +z.</summary>
    internal static Mesh Sheet(int columns, int rows, double stepMm, Func<double, double, double>? height = null)
    {
        var vertices = new List<Vec3>();
        for (var j = 0; j <= rows; j++)
            for (var i = 0; i <= columns; i++)
                vertices.Add(new(i * stepMm, j * stepMm, height?.Invoke(i * stepMm, j * stepMm) ?? 0));
        var triangles = new List<int>();
        for (var j = 0; j < rows; j++)
            for (var i = 0; i < columns; i++)
            {
                var a = (j * (columns + 1)) + i;
                var (b, c, d) = (a + 1, a + columns + 2, a + columns + 1);
                triangles.AddRange([a, b, c, a, c, d]);
            }

        return Of([.. vertices], [.. triangles]);
    }

    /// <summary>A box whose faces are grids of squares, each cut in two.</summary>
    internal static Mesh GridBox(int cells, double edgeMm)
    {
        var index = new Dictionary<(int, int, int), int>();
        var vertices = new List<Vec3>();
        var triangles = new List<int>();
        int At(int x, int y, int z)
        {
            if (!index.TryGetValue((x, y, z), out var v))
            {
                index.Add((x, y, z), v = vertices.Count);
                vertices.Add(new Vec3(x, y, z) * (edgeMm / cells));
            }

            return v;
        }

        for (var i = 0; i < cells; i++)
            for (var j = 0; j < cells; j++)
            {
                void Face(Func<int, int, (int X, int Y, int Z)> map, bool turn)
                {
                    int P(int u, int v)
                    {
                        var (x, y, z) = map(u, v);
                        return At(x, y, z);
                    }

                    var (a, b, c, d) = (P(i, j), P(i + 1, j), P(i + 1, j + 1), P(i, j + 1));
                    triangles.AddRange(turn ? [a, c, b, a, d, c] : [a, b, c, a, c, d]);
                }

                Face((u, v) => (u, v, 0), true);
                Face((u, v) => (u, v, cells), false);
                Face((u, v) => (u, 0, v), false);
                Face((u, v) => (u, cells, v), true);
                Face((u, v) => (0, u, v), true);
                Face((u, v) => (cells, u, v), false);
            }

        return Of([.. vertices], [.. triangles]);
    }

    internal static Mesh Merged(params Mesh[] meshes)
    {
        var builder = new MeshBuilder(Vec3.Zero);
        foreach (var mesh in meshes)
        {
            var first = builder.VertexCount;
            for (var v = 0; v < mesh.VertexCount; v++)
                builder.AddVertex(mesh.Vertex(v));
            for (var t = 0; t < mesh.TriangleCount; t++)
            {
                var (a, b, c) = mesh.Triangle(t);
                builder.AddTriangle(first + a, first + b, first + c, mesh.Origins[t]);
            }
        }

        return builder.Build();
    }

    internal static Mesh InsideOut(Mesh mesh)
    {
        var triangles = mesh.Triangles.ToArray();
        for (var i = 0; i < triangles.Length; i += 3)
            (triangles[i + 1], triangles[i + 2]) = (triangles[i + 2], triangles[i + 1]);
        return new(mesh.OriginMm, mesh.PositionArray, triangles, mesh.OriginArray);
    }

    internal static Mesh Moved(Mesh mesh, Func<int, Vec3, Vec3> to)
    {
        var positions = new float[3 * mesh.VertexCount];
        for (var v = 0; v < mesh.VertexCount; v++)
        {
            var p = to(v, mesh.Local(v));
            (positions[3 * v], positions[(3 * v) + 1], positions[(3 * v) + 2]) = ((float)p.X, (float)p.Y, (float)p.Z);
        }

        return new(mesh.OriginMm, positions, mesh.TriangleArray, mesh.OriginArray);
    }

    /// <summary>Wavefront OBJ or OFF, triangles only; vertices are not joined.</summary>
    internal static Mesh Read(string path)
    {
        var builder = new MeshBuilder(Vec3.Zero);
        static double Number(string text) => double.Parse(text, CultureInfo.InvariantCulture);
        static int Index(string text) => int.Parse(text.Split('/')[0], CultureInfo.InvariantCulture);
        var off = path.EndsWith(".off", StringComparison.Ordinal);
        var words = File.ReadLines(path)
            .Where(l => l.Length > 0 && l[0] != '#')
            .Select(l => l.Split((char[]?)null, StringSplitOptions.RemoveEmptyEntries))
            .Where(w => w.Length > 0);
        if (off)
        {
            var lines = words.Where(w => w[0] != "OFF").ToList();
            var vertices = Index(lines[0][0]);
            foreach (var w in lines.Skip(1).Take(vertices))
                builder.AddVertex(new(Number(w[0]), Number(w[1]), Number(w[2])));
            foreach (var w in lines.Skip(1 + vertices))
                builder.AddTriangle(Index(w[1]), Index(w[2]), Index(w[3]));
            return builder.Build();
        }

        foreach (var w in words)
            if (w[0] == "v")
                builder.AddVertex(new(Number(w[1]), Number(w[2]), Number(w[3])));
            else if (w[0] == "f")
                builder.AddTriangle(Index(w[1]) - 1, Index(w[2]) - 1, Index(w[3]) - 1);
        return builder.Build();
    }

    private static int[] Wrapped(int columns, int rows)
    {
        var triangles = new List<int>();
        for (var i = 0; i < columns; i++)
            for (var j = 0; j < rows; j++)
            {
                int a = (i * rows) + j, b = ((i + 1) % columns * rows) + j;
                int c = ((i + 1) % columns * rows) + ((j + 1) % rows), d = (i * rows) + ((j + 1) % rows);
                triangles.AddRange([a, b, c, a, c, d]);
            }

        return [.. triangles];
    }

    private static int[] Quartered(List<Vec3> vertices, int[] triangles)
    {
        var middles = new Dictionary<(int, int), int>();
        int Middle(int a, int b)
        {
            var key = a < b ? (a, b) : (b, a);
            if (!middles.TryGetValue(key, out var m))
            {
                middles.Add(key, m = vertices.Count);
                vertices.Add(((vertices[a].Normalized() + vertices[b].Normalized()) / 2).Normalized());
            }

            return m;
        }

        var finer = new List<int>();
        for (var i = 0; i < triangles.Length; i += 3)
        {
            int a = triangles[i], b = triangles[i + 1], c = triangles[i + 2];
            int ab = Middle(a, b), bc = Middle(b, c), ca = Middle(c, a);
            finer.AddRange([a, ab, ca, b, bc, ab, c, ca, bc, ab, bc, ca]);
        }

        return [.. finer];
    }
}
