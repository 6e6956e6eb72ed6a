using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Finds where a patch meets the surface, other patches or itself beyond the corners and edges they share.</summary>
/// <remarks>
/// Exact (<see cref="TriangleTriangle"/>); a touch counts like a crossing, for it is one bit away from it and other programs
/// count it so. The surface near the patch and the patches become one small mesh with common vertex numbers; only pairs
/// with a triangle of the patch are looked at. O(k log k) for k triangles near the patch.
/// </remarks>
internal sealed class PatchCheck(Mesh mesh, SurfaceNear surface)
{
    /// <returns>Of each pair that meets, the number of a triangle of the patch.</returns>
    public List<int> FindContacts(HolePatch patch, IEnumerable<HolePatch> others, RunContext run)
    {
        var box = Bounds(patch);
        var near = new List<int>();
        surface.Find(box, near);
        var local = new LocalMesh(mesh);
        local.Add(patch);
        var own = local.TriangleCount;
        foreach (var t in near)
        {
            var (a, b, c) = mesh.Triangle(t);
            local.AddTriangle(local.Old(a), local.Old(b), local.Old(c));
        }

        foreach (var other in others)
            if (Bounds(other).Overlaps(box))
                local.Add(other);
        return Find(local.Build(), own, run);
    }

    public bool MeetsAny(HolePatch patch, IReadOnlyList<HolePatch> others, RunContext run)
    {
        var box = Bounds(patch);
        var close = others.Where(o => Bounds(o).Overlaps(box)).ToList();
        if (close.Count == 0)
            return false;
        var local = new LocalMesh(mesh);
        local.Add(patch);
        var own = local.TriangleCount;
        foreach (var other in close)
            local.Add(other);
        return Find(local.Build(), own, run).Count > patch.Contacts;
    }

    private static List<int> Find(Mesh local, int own, RunContext run)
    {
        var small = TriangleTree.Build(local, run);
        var found = new List<int>();
        var contacts = new List<int>();
        for (var t = 0; t < own; t++)
        {
            if ((t & 0x3FF) == 0)
                run.ThrowIfCancelled();
            found.Clear();
            var (a, b, c) = local.Triangle(t);
            small.TrianglesNear(Box3.Empty.Including(local.Local(a)).Including(local.Local(b)).Including(local.Local(c)), found);
            foreach (var other in found)
                if ((other > t || other >= own) && TriangleTriangle.Classify(local, t, other) != Contact.None)
                    contacts.Add(t);
        }

        return contacts;
    }

    private Box3 Bounds(HolePatch patch)
    {
        var box = Box3.Empty;
        foreach (var v in patch.Rim)
            box = box.Including(mesh.Local(v));
        foreach (var p in patch.NewPoints)
            box = box.Including(p);
        return box;
    }

    /// <summary>A mesh about the same origin with only the vertices it uses, positions relative to that origin.</summary>
    private sealed class LocalMesh(Mesh mesh)
    {
        private readonly List<float> _positions = [];
        private readonly List<int> _triangles = [];
        private readonly Dictionary<int, int> _number = [];

        public int TriangleCount => _triangles.Count / 3;

        public void Add(HolePatch patch)
        {
            var numbers = new int[patch.Rim.Length + patch.NewPoints.Length];
            for (var i = 0; i < patch.Rim.Length; i++)
                numbers[i] = Old(patch.Rim[i]);
            for (var i = 0; i < patch.NewPoints.Length; i++)
                numbers[patch.Rim.Length + i] = Place(patch.NewPoints[i]);
            foreach (var (a, b, c) in patch.Triangles)
                AddTriangle(numbers[a], numbers[b], numbers[c]);
        }

        public int Old(int v)
        {
            if (!_number.TryGetValue(v, out var n))
                _number[v] = n = Place(mesh.Local(v));
            return n;
        }

        public void AddTriangle(int a, int b, int c) => _triangles.AddRange([a, b, c]);

        public Mesh Build() => new(Vec3.Zero, [.. _positions], [.. _triangles]);

        private int Place(Vec3 p)
        {
            _positions.Add((float)p.X);
            _positions.Add((float)p.Y);
            _positions.Add((float)p.Z);
            return (_positions.Count / 3) - 1;
        }
    }
}
