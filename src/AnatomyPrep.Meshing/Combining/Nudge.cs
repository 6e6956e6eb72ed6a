using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Combining;

/// <summary>Moves faces of a solid outward by a few steps of float32, so that faces meant to coincide do so decidedly.</summary>
/// <remarks>
/// Two faces that should lie in one plane, once rounded, cross each other in a film of less than a step, which no float32 mesh
/// can show. Moved outward by a few steps, one of them lies clearly above the other. A triangle takes its whole flat face with it,
/// or the face would get a fold. Only vertices of these faces move, each along the sum of the different normals of its faces, so that
/// every one of their planes moves by about the same.
/// </remarks>
internal static class Nudge
{
    // Normals closer than 18° are one face.
    private const double SameFaceCosine = 0.95;

    // Of the angle up to which neighbours lie in one plane: rounding tilts a triangle of 1 mm by less.
    private const double FlatSine = 1e-4;

    /// <summary>
    /// Triangles of the combination's sources to move: at each place, which is faulty triangles that meet or share vertices, with their
    /// neighbours, those of the last source that has some there.
    /// </summary>
    /// <returns>Per source, triangle numbers.</returns>
    public static SortedSet<int>[] FacesAtFaults(CombinedMesh combined, int sources, RunContext run)
    {
        var mesh = combined.Mesh;
        var places = new Places(mesh.VertexCount);
        foreach (var (first, second) in CutSettling.Faults(mesh, run))
            places.Join([.. mesh.Triangles.Slice(3 * first, 3), .. mesh.Triangles.Slice(3 * second, 3)]);
        var lastSource = new int[mesh.VertexCount];
        foreach (var t in places.TrianglesAround(mesh))
            lastSource[t.Place] = Math.Max(lastSource[t.Place], combined.SourceOf[t.Triangle]);
        var faces = new SortedSet<int>[sources];
        for (var s = 0; s < sources; s++)
            faces[s] = [];
        foreach (var t in places.TrianglesAround(mesh))
            if (combined.SourceOf[t.Triangle] == lastSource[t.Place])
                faces[lastSource[t.Place]].Add(combined.TriangleInSource[t.Triangle]);
        return faces;
    }

    public static Mesh Outward(Mesh mesh, IEnumerable<int> triangles, double byMm)
    {
        var normals = new SortedDictionary<int, List<Vec3>>();
        foreach (var t in WholeFaces(mesh, triangles))
        {
            var (a, b, c) = mesh.Triangle(t);
            var normal = Normal(mesh, t);
            foreach (var v in (ReadOnlySpan<int>)[a, b, c])
            {
                if (!normals.TryGetValue(v, out var faces))
                    normals.Add(v, faces = []);
                if (!faces.Exists(n => Vec3.Dot(n, normal) > SameFaceCosine))
                    faces.Add(normal);
            }
        }

        var positions = mesh.Positions.ToArray();
        foreach (var (v, faces) in normals)
        {
            var to = mesh.Local(v);
            foreach (var normal in faces)
                to += normal * byMm;
            (positions[3 * v], positions[(3 * v) + 1], positions[(3 * v) + 2]) = ((float)to.X, (float)to.Y, (float)to.Z);
        }

        return new(mesh.OriginMm, positions, mesh.TriangleArray, mesh.OriginArray);
    }

    private static SortedSet<int> WholeFaces(Mesh mesh, IEnumerable<int> triangles)
    {
        var faces = new SortedSet<int>(triangles);
        var open = new Queue<int>(faces);
        var edges = EdgeTable.Build(mesh);
        while (open.TryDequeue(out var t))
        {
            var normal = Normal(mesh, t);
            for (var h = 3 * t; h < (3 * t) + 3; h++)
            {
                var next = edges.Opposite[h] / 3;
                if (edges.Opposite[h] < 0 || faces.Contains(next))
                    continue;
                var other = Normal(mesh, next);
                if (Vec3.Dot(normal, other) <= 0 || Vec3.Cross(normal, other).Length > FlatSine)
                    continue;
                faces.Add(next);
                open.Enqueue(next);
            }
        }

        return faces;
    }

    private static Vec3 Normal(Mesh mesh, int t)
    {
        var (a, b, c) = mesh.Triangle(t);
        return Vec3.Cross(mesh.Local(b) - mesh.Local(a), mesh.Local(c) - mesh.Local(a)).Normalized();
    }

    /// <summary>Sets of faulty vertices; the smallest vertex names a place.</summary>
    private sealed class Places
    {
        private readonly int[] _parent;
        private readonly bool[] _faulty;

        public Places(int vertices)
        {
            _parent = [.. Enumerable.Range(0, vertices)];
            _faulty = new bool[vertices];
        }

        public void Join(ReadOnlySpan<int> vertices)
        {
            foreach (var v in vertices)
            {
                _faulty[v] = true;
                var (a, b) = (Root(v), Root(vertices[0]));
                _parent[Math.Max(a, b)] = Math.Min(a, b);
            }
        }

        /// <summary>Triangles with a faulty vertex, once for each such corner.</summary>
        public IEnumerable<(int Triangle, int Place)> TrianglesAround(Mesh mesh)
        {
            for (var h = 0; h < mesh.TriangleArray.Length; h++)
                if (_faulty[mesh.TriangleArray[h]])
                    yield return (h / 3, Root(mesh.TriangleArray[h]));
        }

        private int Root(int v)
        {
            while (_parent[v] != v)
                v = _parent[v] = _parent[_parent[v]];
            return v;
        }
    }
}
