using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Prepare;

/// <summary>Which side of the surface is measured.</summary>
public enum ThicknessSide
{
    /// <summary>Into the material: walls.</summary>
    Wall,

    /// <summary>Out of it: gaps.</summary>
    Gap,
}

/// <summary>A connected part of the surface where a length is below its limit.</summary>
/// <param name="LeastMm">The smallest value in it.</param>
/// <param name="AtMm">Where that is.</param>
/// <param name="Vertices">How many vertices.</param>
/// <param name="SharpMm">Length of the edges in it where the material is a wedge sharper than <see cref="ThicknessMap.SharpDeg"/>.</param>
/// <param name="SharpestDeg">The sharpest of them; 180 where there is none.</param>
public sealed record ThinPlace(double LeastMm, Vec3 AtMm, double AreaMm2, int Vertices, double SharpMm = 0, double SharpestDeg = 180);

/// <summary>Thickness at every vertex.</summary>
/// <param name="RayMm">Straight in (or out) along the normal; infinity where nothing is met within the reach.</param>
/// <param name="SphereMm">Diameter of the largest sphere that touches the vertex from that side and holds no surface; infinity likewise.</param>
public sealed record ThicknessMap(float[] RayMm, float[] SphereMm)
{
    /// <summary>A wedge sharper than this is thin towards its edge.</summary>
    public const double SharpDeg = 75;

    private const int PieceVertices = 1 << 11;
    private const int MostSteps = 30;

    // Surfaces that meet at this angle or more sharply form an edge and not a wall: their contact angle seen from the sphere is 180° − edge angle.
    private const double CosLeastSeparation = -0.25881904510252074;

    // Floats of the mesh, and the foot of a sphere on its own triangle.
    private const double OwnMm = 1e-4;

    /// <summary>Measures every vertex.</summary>
    /// <remarks>
    /// Two ways, because each misses what the other sees. Ray: along the angle-weighted normal. Sphere: shrinking ball, J. Ma, S. W. Bae, S. Choi,
    ///   "3D medial axis point approximation using nearest neighbors and the normal field", The Visual Computer 28, 2012 (from memory): a ball
    ///   that touches the vertex, centre on its normal, begins with the ray's half length and shrinks to the nearest surface it holds until it holds none.
    ///   It stops, with the ball before, when the contact is seen less than 105° from the vertex: that is an edge or an uneven
    ///   spot and no opposite wall. So wedges sharper than 75° count as thin towards their edge, right angles do not.
    /// The sphere is never larger than the ray. On smooth walls both are the thickness within the facets' own deviation (2 % on a sphere of 5,120 triangles).
    /// Vertices whose ray finds nothing within the reach are not thin and get infinity.
    /// Cost: one ray and about three nearest searches a vertex; memory as <see cref="TriangleTree"/> and 36 bytes a vertex.
    /// Same bytes on any number of threads.
    /// </remarks>
    /// <param name="reachMm">Nothing farther is looked for; walls beyond are not thin.</param>
    /// <exception cref="PlanException">The reach is not positive.</exception>
    /// <exception cref="OperationCanceledException">Asked once per 2,048 vertices.</exception>
    public static ThicknessMap Measure(Mesh mesh, TriangleTree tree, ThicknessSide side, double reachMm, RunContext run)
    {
        if (!(reachMm > 0) || !double.IsFinite(reachMm))
            throw new PlanException("thickness", null, "reachMm", FormattableString.Invariant($"{reachMm}"), "a number above 0");
        var normals = AngleNormals.Of(mesh, run);
        var map = new ThicknessMap(new float[mesh.VertexCount], new float[mesh.VertexCount]);
        Array.Fill(map.RayMm, float.PositiveInfinity);
        Array.Fill(map.SphereMm, float.PositiveInfinity);
        var order = VerticesAlong(tree);
        var sign = side == ThicknessSide.Wall ? -1.0 : 1.0;
        Partition.Ranges(run, order.Length, PieceVertices, (piece, from, to) =>
        {
            for (var i = from; i < to; i++)
            {
                var v = order[i];
                var into = normals[v].Normalized() * sign;
                if (into != Vec3.Zero)
                    (map.RayMm[v], map.SphereMm[v]) = At(mesh, tree, v, into, side, reachMm);
            }

            run.Report(side == ThicknessSide.Wall ? "walls" : "gaps", "measuring", to / (double)order.Length);
        });
        return map;
    }

    /// <summary>Connected places below a limit, worst first.</summary>
    /// <param name="leastAreaMm2">Smaller places are left out.</param>
    /// <param name="tellEdges">Look for sharp edges too, and join what lies on both sides of one: on the edge itself the largest sphere is none of the wall.</param>
    public IReadOnlyList<ThinPlace> Below(Mesh mesh, double limitMm, double leastAreaMm2, bool tellEdges = false)
    {
        var root = new int[mesh.VertexCount];
        for (var v = 0; v < root.Length; v++)
            root[v] = SphereMm[v] < limitMm ? v : -1;
        int Root(int v)
        {
            while (root[v] != v)
                v = root[v] = root[root[v]];
            return v;
        }

        var triangles = mesh.TriangleArray;
        for (var h = 0; h < triangles.Length; h++)
        {
            int a = triangles[h], b = triangles[EdgeTable.Next(h)];
            if (root[a] < 0 || root[b] < 0)
                continue;
            int ra = Root(a), rb = Root(b);
            root[Math.Max(ra, rb)] = Math.Min(ra, rb);
        }

        var edges = new Dictionary<int, (double Mm, double Deg)>();
        var sharp = tellEdges ? SharpEdges(mesh, root) : [];
        foreach (var (one, other, _, _) in sharp)
        {
            int ra = Root(one), rb = Root(other);
            root[Math.Max(ra, rb)] = Math.Min(ra, rb);
        }

        foreach (var (one, _, mm, deg) in sharp)
        {
            var (before, least) = edges.GetValueOrDefault(Root(one), (0, 180));
            edges[Root(one)] = (before + mm, Math.Min(least, deg));
        }

        var places = new SortedDictionary<int, (int Worst, double Area, int Count)>();
        for (var v = 0; v < root.Length; v++)
        {
            if (root[v] < 0)
                continue;
            var r = Root(v);
            var (worst, area, count) = places.GetValueOrDefault(r, (v, 0, 0));
            places[r] = (SphereMm[v] < SphereMm[worst] ? v : worst, area, count + 1);
        }

        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            var third = MeshMeasures.TriangleAreaMm2(mesh, t) / 3;
            for (var h = 3 * t; h < (3 * t) + 3; h++)
                if (root[triangles[h]] >= 0)
                {
                    var r = Root(triangles[h]);
                    places[r] = places[r] with { Area = places[r].Area + third };
                }
        }

        return
        [
            .. places.Where(p => p.Value.Area >= leastAreaMm2)
                .Select(p => (p.Value, Sharp: edges.GetValueOrDefault(p.Key, (0, 180))))
                .Select(p => new ThinPlace(SphereMm[p.Value.Worst], mesh.Vertex(p.Value.Worst), p.Value.Area, p.Value.Count, p.Sharp.Mm, p.Sharp.Deg))
                .OrderBy(p => p.LeastMm).ThenByDescending(p => p.AreaMm2),
        ];
    }

    /// <summary>Edges where the material is a sharp wedge, each with the first and the last thin corner of its two triangles.</summary>
    private static List<(int One, int Other, double Mm, double Deg)> SharpEdges(Mesh mesh, int[] places)
    {
        var found = new List<(int, int, double, double)>();
        var opposite = EdgeTable.Build(mesh).OppositeArray;
        var triangles = mesh.TriangleArray;
        Span<int> corners = stackalloc int[4];
        for (var h = 0; h < triangles.Length; h++)
        {
            var twin = opposite[h];
            if (twin < h)
                continue;
            (corners[0], corners[1]) = (triangles[h], triangles[EdgeTable.Next(h)]);
            (corners[2], corners[3]) = (triangles[EdgeTable.Previous(h)], triangles[EdgeTable.Previous(twin)]);
            int one = -1, other = -1;
            foreach (var corner in corners)
                if (places[corner] >= 0)
                    (one, other) = (one < 0 ? corner : one, corner);
            if (one < 0)
                continue;
            var from = mesh.Local(corners[0]);
            var along = mesh.Local(corners[1]) - from;
            var deg = InnerAngleDeg(along, mesh.Local(corners[2]) - from, mesh.Local(corners[3]) - from);
            if (deg < SharpDeg)
                found.Add((one, other, along.Length, deg));
        }

        return found;
    }

    /// <summary>Through the material, from the triangle that runs along an edge to the one that runs against it; 0 to 360.</summary>
    private static double InnerAngleDeg(Vec3 along, Vec3 own, Vec3 other)
    {
        var e = along.Normalized();
        Vec3 one = own - (e * Vec3.Dot(own, e)), two = other - (e * Vec3.Dot(other, e));
        // The outward normal of the first is e × one: material lies on the other side, so it is turned through against e.
        var turn = Math.Atan2(-Vec3.Dot(e, Vec3.Cross(one, two)), Vec3.Dot(one, two)) * 180 / Math.PI;
        return turn < 0 ? turn + 360 : turn;
    }

    private static (float Ray, float Sphere) At(Mesh mesh, TriangleTree tree, int v, Vec3 into, ThicknessSide side, double reachMm)
    {
        var p = mesh.Local(v);
        // A way out of the material leaves it; a gap ends where material begins. What is met the wrong way round is the surface around the vertex itself.
        if (!FirstOpposite(tree, p + mesh.OriginMm, into, side, reachMm, out var ray))
            return (float.PositiveInfinity, float.PositiveInfinity);
        var radius = ray / 2;
        for (var step = 0; step < MostSteps; step++)
        {
            var center = p + (into * radius);
            var nearest = tree.NearestLocal(center, radius * (1 - 1e-6));
            if (!nearest.Found)
                break;
            var to = nearest.PositionMm - p;
            var along = Vec3.Dot(to, into);
            var seen = Vec3.Dot((p - center).Normalized(), (nearest.PositionMm - center).Normalized());
            if (seen > CosLeastSeparation || along <= 0 || to.LengthSquared < OwnMm * OwnMm)
                break;
            var smaller = to.LengthSquared / (2 * along);
            if (!(smaller < radius))
                break;
            radius = smaller;
        }

        return ((float)ray, (float)(2 * radius));
    }

    private static bool FirstOpposite(TriangleTree tree, Vec3 from, Vec3 into, ThicknessSide side, double reachMm, out double distanceMm)
    {
        distanceMm = OwnMm;
        for (var attempt = 0; attempt < 4; attempt++)
        {
            if (!tree.FirstHit(from, into, distanceMm, reachMm, out var hit))
                return false;
            distanceMm = hit.DistanceMm;
            if (hit.Entering == (side == ThicknessSide.Gap))
                return true;
            distanceMm += OwnMm;
        }

        return false;
    }

    /// <summary>Vertices in the order in which the tree's triangles first name them: neighbours one after the other.</summary>
    private static int[] VerticesAlong(TriangleTree tree)
    {
        var triangles = tree.Mesh.TriangleArray;
        var seen = new bool[tree.Mesh.VertexCount];
        var order = new List<int>(seen.Length);
        foreach (var t in tree.Order)
            for (var h = 3 * t; h < (3 * t) + 3; h++)
                if (!seen[triangles[h]])
                {
                    seen[triangles[h]] = true;
                    order.Add(triangles[h]);
                }

        return [.. order];
    }
}
