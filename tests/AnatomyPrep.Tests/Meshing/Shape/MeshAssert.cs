using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Tests.Meshing.Shape;

/// <summary>Claims about whole meshes, checked without the code under test.</summary>
internal static class MeshAssert
{
    /// <summary>Closed, each edge used once in either direction, one fan at each vertex, no triangle without area, volume positive.</summary>
    internal static void IsSolid(Mesh mesh, string because = "")
    {
        IsManifold(mesh, because);
        EdgeTable.Build(mesh).BoundaryEdges.Should().Be(0, "the solid is closed {0}", because);
        MeshMeasures.SignedVolumeMm3(mesh).Should().BePositive("the solid faces outward {0}", because);
    }

    internal static void IsManifold(Mesh mesh, string because = "")
    {
        var table = EdgeTable.Build(mesh);
        table.NonManifoldEdges.Should().Be(0, because);
        table.InconsistentEdges.Should().Be(0, because);
        NonManifoldVertices(mesh).Should().Be(0, because);
        UnusedVertices(mesh).Should().Be(0, because);
        Collapsed(mesh).Should().Be(0, "every triangle has three corners in three places {0}", because);
    }

    /// <summary>V − E + F.</summary>
    internal static int Euler(Mesh mesh) => mesh.VertexCount - EdgeTable.Build(mesh).EdgeCount + mesh.TriangleCount;

    internal static int UnusedVertices(Mesh mesh)
    {
        var used = new bool[mesh.VertexCount];
        foreach (var v in mesh.Triangles)
            used[v] = true;
        return used.Count(u => !u);
    }

    internal static bool SameBytes(Mesh a, Mesh b) =>
        a.OriginMm == b.OriginMm && a.Positions.SequenceEqual(b.Positions) && a.Triangles.SequenceEqual(b.Triangles) && a.Origins.SequenceEqual(b.Origins);

    /// <summary>Position bits too, which tell 0 from −0.</summary>
    internal static bool SameBits(Mesh a, Mesh b) =>
        SameBytes(a, b) && a.Positions.ToArray().Select(BitConverter.SingleToUInt32Bits).SequenceEqual(b.Positions.ToArray().Select(BitConverter.SingleToUInt32Bits));

    /// <summary>
    /// The effect of a step that only moves vertices, measured again one by one. Sums in another order differ by
    /// rounding: parts in 1e12 of the terms' sum, for volumes that of area times extent.
    /// </summary>
    internal static void MovedAsStated(Mesh before, Mesh after, StepEffect effect)
    {
        double sum = 0, max = 0, sure = 0, possible = 0;
        var distance = Enumerable.Range(0, before.VertexCount).Select(v => Vec3.Distance(before.Vertex(v), after.Vertex(v))).ToArray();
        foreach (var d in distance)
            (sum, max) = (sum + d, Math.Max(max, d));

        // The step may measure from stored floats and shift; that loses up to a few units in the last place of the origin.
        var slack = 1e-12 * (1 + before.OriginMm.Length + after.OriginMm.Length + max);
        for (var t = 0; t < after.TriangleCount; t++)
        {
            var (a, b, c) = after.Triangle(t);
            var area = Vec3.Cross(after.Local(b) - after.Local(a), after.Local(c) - after.Local(a)).Length / 2;
            var moved = Math.Max(distance[a], Math.Max(distance[b], distance[c]));
            sure += moved > slack ? area : 0;
            possible += moved > 0 || before.OriginMm != after.OriginMm ? area : 0;
        }

        effect.MeanDisplacementMm.Should().BeApproximately(before.VertexCount == 0 ? 0 : sum / before.VertexCount, slack);
        effect.MaxDisplacementMm.Should().BeApproximately(max, slack);
        effect.ChangedAreaMm2.Should().BeInRange(sure * (1 - 1e-12), possible * (1 + 1e-12));
        VolumesAsStated(before, after, effect);
    }

    internal static void VolumesAsStated(Mesh before, Mesh after, StepEffect effect)
    {
        effect.VolumeBeforeMm3.Should().BeApproximately(VolumeMm3(before), VolumeSlackMm3(before));
        effect.VolumeAfterMm3.Should().BeApproximately(VolumeMm3(after), VolumeSlackMm3(after));
    }

    /// <summary>Σ a·(b×c)/6 about the first vertex.</summary>
    internal static double VolumeMm3(Mesh mesh)
    {
        double sum = 0;
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            var p = mesh.Local(0);
            sum += Vec3.Dot(mesh.Local(a) - p, Vec3.Cross(mesh.Local(b) - p, mesh.Local(c) - p)) / 6;
        }

        return sum;
    }

    // The volume of a surface that is open or partly turned depends on the point it is taken about, so only others are compared to rounding.
    private static double VolumeSlackMm3(Mesh mesh)
    {
        var scale = MeshMeasures.AreaMm2(mesh) * mesh.BoundsMm().Diagonal;
        var table = EdgeTable.Build(mesh);
        return table.BoundaryEdges + table.InconsistentEdges + table.NonManifoldEdges == 0 ? 1e-11 * (1 + scale) : 1 + scale;
    }

    private static int Collapsed(Mesh mesh)
    {
        var count = 0;
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            if (mesh.Local(a) == mesh.Local(b) || mesh.Local(b) == mesh.Local(c) || mesh.Local(c) == mesh.Local(a))
                count++;
        }

        return count;
    }

    /// <summary>Vertices with more than one fan of triangles.</summary>
    internal static int NonManifoldVertices(Mesh mesh)
    {
        var table = EdgeTable.Build(mesh);
        // Corners joined around shared edges: one group per fan.
        var parent = Enumerable.Range(0, mesh.Triangles.Length).ToArray();
        int Root(int i)
        {
            while (parent[i] != i)
                i = parent[i] = parent[parent[i]];
            return i;
        }

        for (var h = 0; h < parent.Length; h++)
            if (table.Opposite[h] is >= 0 and var g)
            {
                parent[Root(h)] = Root(EdgeTable.Next(g));
                parent[Root(EdgeTable.Next(h))] = Root(g);
            }

        var fans = new HashSet<int>[mesh.VertexCount];
        for (var h = 0; h < parent.Length; h++)
            (fans[mesh.Triangles[h]] ??= []).Add(Root(h));
        return fans.Count(f => f is { Count: > 1 });
    }

    internal static double Distance(Vec3 p, Mesh mesh)
    {
        var best = double.PositiveInfinity;
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            best = Math.Min(best, Vec3.Distance(p, Nearest(p, mesh.Vertex(a), mesh.Vertex(b), mesh.Vertex(c))));
        }

        return best;
    }

    /// <summary>Nearest point of a triangle: over the plane where the foot lies inside, else over the edges.</summary>
    private static Vec3 Nearest(Vec3 p, Vec3 a, Vec3 b, Vec3 c)
    {
        var n = Vec3.Cross(b - a, c - a);
        if (n.LengthSquared > 0)
        {
            var foot = p - (n * (Vec3.Dot(p - a, n) / n.LengthSquared));
            if (Vec3.Dot(Vec3.Cross(b - a, foot - a), n) >= 0 && Vec3.Dot(Vec3.Cross(c - b, foot - b), n) >= 0 && Vec3.Dot(Vec3.Cross(a - c, foot - c), n) >= 0)
                return foot;
        }

        Vec3[] onEdges = [OnSegment(p, a, b), OnSegment(p, b, c), OnSegment(p, c, a)];
        return onEdges.MinBy(q => Vec3.Distance(p, q));
    }

    private static Vec3 OnSegment(Vec3 p, Vec3 a, Vec3 b)
    {
        var d = b - a;
        return d.LengthSquared == 0 ? a : a + (d * Math.Clamp(Vec3.Dot(p - a, d) / d.LengthSquared, 0, 1));
    }
}
