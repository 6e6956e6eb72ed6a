using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>Signed volume of each shell, every open border closed by a fan to the border's mean.</summary>
internal static class CappedVolumes
{
    // A dome of height h over a disc of radius a holds about h/(2√π a) of area^1.5: this is h/a = 1 %.
    private const double LeastShare = 0.003;

    internal readonly record struct Shell(double Mm3, double AreaMm2, bool Closed)
    {
        internal bool HasOutside => Closed ? Mm3 != 0 : Math.Abs(Mm3) > LeastShare * Math.Pow(AreaMm2, 1.5);
    }

    /// <param name="triangles">Corners after neighbours were brought to agree.</param>
    internal static Shell[] Measure(Mesh mesh, int[] triangles, OrientedShells shells, RunContext run)
    {
        var (volumes, areas, closed) = (new double[shells.Count], new double[shells.Count], new bool[shells.Count]);
        Array.Fill(closed, true);
        // About the centre of the bounds, where the terms are smallest.
        var center = mesh.BoundsMm().Center - mesh.OriginMm;
        for (var t = 0; t < shells.Shell.Length; t++)
        {
            if ((t & 0xFFFF) == 0)
                run.ThrowIfCancelled();
            var (a, b, c) = (At(mesh, triangles[3 * t]), At(mesh, triangles[(3 * t) + 1]), At(mesh, triangles[(3 * t) + 2]));
            volumes[shells.Shell[t]] += Cone(a - center, b - center, c - center);
            areas[shells.Shell[t]] += Vec3.Cross(b - a, c - a).Length / 2;
        }

        var table = EdgeTable.Build(triangles, mesh.VertexCount);
        foreach (var loop in Borders(table, triangles))
        {
            var shell = shells.Shell[loop[0] / 3];
            closed[shell] = false;
            var apex = Vec3.Zero;
            foreach (var h in loop)
                apex += At(mesh, triangles[h]);
            apex = (apex / loop.Count) - center;
            foreach (var h in loop)
                volumes[shell] += Cone(At(mesh, triangles[EdgeTable.Next(h)]) - center, At(mesh, triangles[h]) - center, apex);
        }

        var measured = new Shell[shells.Count];
        for (var s = 0; s < measured.Length; s++)
            measured[s] = new(volumes[s], areas[s], closed[s]);
        return measured;
    }

    private static Vec3 At(Mesh mesh, int v) => mesh.Local(v);

    private static double Cone(Vec3 a, Vec3 b, Vec3 c) => Vec3.Dot(a, Vec3.Cross(b, c)) / 6;

    /// <summary>Chains of half-edges with no partner; edges of more than two triangles count as borders of each.</summary>
    private static IEnumerable<List<int>> Borders(EdgeTable table, int[] triangles)
    {
        var seen = new bool[triangles.Length];
        for (var seed = 0; seed < triangles.Length; seed++)
        {
            if (table.Opposite[seed] >= 0 || seen[seed])
                continue;
            var loop = new List<int>();
            for (var h = seed; !seen[h]; h = table.AroundEnd(h))
            {
                seen[h] = true;
                loop.Add(h);
            }

            yield return loop;
        }
    }
}
