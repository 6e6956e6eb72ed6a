using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Walls;

/// <summary>Makes the edges between the walls of a shell and its rim sharp: cells alone would bevel them by up to half a cell.</summary>
/// <remarks>
/// A rim vertex beside a vertex of a wall is moved along the line from the border, at right angles to the sheet, onto the level of
/// that wall; on the level of the sheet it then lies on the sheet's border itself. The idea of a vertex on the feature is that of
/// L. Kobbelt, M. Botsch, U. Schwanecke, H.-P. Seidel, "Feature Sensitive Surface Extraction from Volume Data", SIGGRAPH 2001;
/// here the feature is known. Vertices are taken in order, and one stays where it would make a triangle flatter than
/// <see cref="LeastHeightCells"/> or turn one over.
/// </remarks>
internal static class RimSnap
{
    /// <summary>A triangle is not made lower than this part of a cell.</summary>
    public const double LeastHeightCells = 0.08;

    private const double MostMoveCells = 1.2;

    // Where another part of the sheet is nearer than the border, the wall does not end in this edge.
    private const double ToleranceMm = 1e-3;

    /// <returns>By vertex: the wall whose edge with the rim it was moved onto, rim for all others.</returns>
    public static Bound[] Apply(SparseSurface surface, SheetSide sheet, BandField field, double cellMm)
    {
        var (start, triangles) = AroundRim(surface);
        var near = SurfacePoint.None;
        var edgeOf = new Bound[surface.VertexCount];
        Array.Fill(edgeOf, Bound.Rim);
        for (var v = 0; v < surface.VertexCount; v++)
        {
            if (start[v] == start[v + 1])
                continue;
            var around = triangles.AsSpan(start[v], start[v + 1] - start[v]);
            var wall = WallBeside(surface, around, v);
            if (wall == Bound.Rim || !TryFeature(sheet, field.LevelMm(wall), surface.Position(v), ref near, out var feature))
                continue;
            if ((feature - surface.Position(v)).Length > MostMoveCells * cellMm || !KeepsShape(surface, around, v, feature, LeastHeightCells * cellMm))
                continue;
            surface.Move(v, feature);
            surface.NearTriangle[v] = near.Triangle;
            edgeOf[v] = wall;
        }

        return edgeOf;
    }

    /// <summary>Triangles around each rim vertex, by vertex; none for other vertices.</summary>
    private static (int[] Start, int[] Triangles) AroundRim(SparseSurface surface)
    {
        var corners = surface.Triangles;
        var start = new int[surface.VertexCount + 1];
        foreach (var v in corners)
            if (surface.Bounds[v] == Bound.Rim)
                start[v + 1]++;
        for (var v = 0; v < surface.VertexCount; v++)
            start[v + 1] += start[v];
        var next = start.AsSpan(0, surface.VertexCount).ToArray();
        var around = new int[start[^1]];
        for (var c = 0; c < corners.Length; c++)
            if (surface.Bounds[corners[c]] == Bound.Rim)
                around[next[corners[c]]++] = c / 3;
        return (start, around);
    }

    /// <summary>The wall a rim vertex is joined to; rim where there is none, or both.</summary>
    private static Bound WallBeside(SparseSurface surface, ReadOnlySpan<int> around, int vertex)
    {
        bool low = false, high = false;
        foreach (var t in around)
            for (var c = 3 * t; c < (3 * t) + 3; c++)
            {
                low |= surface.Bounds[surface.Triangles[c]] == Bound.Low;
                high |= surface.Bounds[surface.Triangles[c]] == Bound.High;
            }

        return low == high ? Bound.Rim : low ? Bound.Low : Bound.High;
    }

    private static bool TryFeature(SheetSide sheet, double levelMm, in Vec3 p, ref SurfacePoint near, out Vec3 feature)
    {
        feature = p;
        var s = sheet.At(p, ref near, out _);
        if (levelMm == 0)
        {
            feature = near.PositionMm;
            return true;
        }

        if (!(s * levelMm > 0))
            return false;
        feature = near.PositionMm + ((p - near.PositionMm) * (levelMm / s));
        var at = near;
        return Math.Abs(sheet.At(feature, ref at, out _) - levelMm) < ToleranceMm;
    }

    private static bool KeepsShape(SparseSurface surface, ReadOnlySpan<int> around, int vertex, in Vec3 to, double leastHeightMm)
    {
        Span<Vec3> before = stackalloc Vec3[3];
        Span<Vec3> after = stackalloc Vec3[3];
        foreach (var t in around)
        {
            for (var c = 0; c < 3; c++)
            {
                var v = surface.Triangles[(3 * t) + c];
                before[c] = surface.Position(v);
                after[c] = v == vertex ? to : before[c];
            }

            Vec3 was = Vec3.Cross(before[1] - before[0], before[2] - before[0]), now = Vec3.Cross(after[1] - after[0], after[2] - after[0]);
            var longest = Math.Max((after[1] - after[0]).Length, Math.Max((after[2] - after[1]).Length, (after[0] - after[2]).Length));
            if (Vec3.Dot(was, now) <= 0 || now.Length < leastHeightMm * longest)
                return false;
        }

        return true;
    }
}
