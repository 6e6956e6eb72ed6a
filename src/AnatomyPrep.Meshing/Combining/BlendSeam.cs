using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Repair;
using AnatomyPrep.Meshing.Shape;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;
using Displacement = AnatomyPrep.Meshing.Shape.Displacement;

namespace AnatomyPrep.Meshing.Combining;

/// <param name="WidthMm">Nothing farther than this from the seam moves.</param>
/// <param name="Other">A solid that was joined to the model or taken from it: the seam is where triangles on its surface meet others. Null:
/// the seam is where triangles of different origin meet.</param>
public sealed record BlendSeamParameters(double WidthMm, Mesh? Other = null);

/// <summary>Smooths the seam that a combination leaves, so that one surface runs over into the other.</summary>
/// <remarks>
/// Triangles that reach into the zone are halved at their longest edge until edges are a sixth of the width; that changes no shape. Then
/// <see cref="Rounds"/> rounds of moving each vertex towards its neighbours' mean (umbrella operator), by a share that falls from a half on
/// the seam to nothing at the width as (1 − (d/w)²)², so the zone meets the rest without a step. A concave seam is filled, a convex
/// one is rounded off; the volume's change is reported.
/// Where moved triangles cross, vertices around the place go back half way, again and again, at last all the way.
/// Triangles keep their origin.
/// Measures: seamLengthMm, verticesAdded, verticesMoved, placesHeldBack.
/// Cost: O(triangles) and some 100 operations for each vertex in the zone and round.
/// </remarks>
public static class BlendSeam
{
    public const int Rounds = 40;

    private const string Step = "blend-seam";
    private const int Fineness = 6;
    private const int MostHolds = 8;
    private const int MostTriangles = 20_000_000;

    /// <exception cref="PlanException">The width is not positive.</exception>
    /// <exception cref="CheckFailedException">No solid, no seam, or no blend without faults; nothing has changed.</exception>
    public static ShapeResult Apply(Mesh mesh, BlendSeamParameters parameters, RunContext run)
    {
        if (!(parameters.WidthMm > 0) || !double.IsFinite(parameters.WidthMm))
            throw new PlanException(Step, null, "widthMm", Placement.Text(parameters.WidthMm), "a number above 0");
        run.Report(Step, "check", 0);
        SolidCheck.Require(Step, "the model", mesh, run);
        var seam = Seam(mesh, parameters.Other, run);
        if (seam.Count == 0)
            throw new CheckFailedException(
                Step, "a seam", parameters.Other is null ? "no triangles of different origin side by side; name the other solid with `with`" : "no place where the other solid's surface ends");
        var zone = new SeamZone(mesh, seam, parameters.WidthMm);
        run.Report(Step, "refine", 0.2);
        var fine = Refined(mesh, zone, parameters.WidthMm / Fineness, run);
        run.Report(Step, "blend", 0.5);
        var blended = Blended(fine, zone, parameters.WidthMm, run, out var heldBack);
        var lengthMm = seam.Sum(e => Vec3.Distance(mesh.Local(e.From), mesh.Local(e.To)));
        return Result(mesh, fine, blended, lengthMm, heldBack, run);
    }

    private static ShapeResult Result(Mesh mesh, Mesh fine, Mesh blended, double lengthMm, int heldBack, RunContext run)
    {
        var moved = Displacement.Measure(fine, blended, run);
        var (before, after) = (MeshMeasures.SignedVolumeMm3(mesh, run), MeshMeasures.SignedVolumeMm3(blended, run));
        var effect = new StepEffect(
            moved.ChangedAreaMm2,
            moved.MeanMm,
            moved.MaxMm,
            before,
            after,
            new SortedDictionary<string, double>(StringComparer.Ordinal)
            {
                ["placesHeldBack"] = heldBack,
                ["seamLengthMm"] = lengthMm,
                ["verticesAdded"] = fine.VertexCount - mesh.VertexCount,
                ["verticesMoved"] = moved.MovedVertices,
            });
        var note = new Finding(
            FindingCodes.SeamBlended,
            Severity.Note,
            FormattableString.Invariant($"A seam of {lengthMm:F1} mm was blended: the surface moved by at most {moved.MaxMm:F2} mm and the volume changed by {after - before:F2} mm³."),
            "Check that no measured surface that matters lies on the seam.");
        return new(blended, effect, [note]);
    }

    private static List<(int From, int To)> Seam(Mesh mesh, Mesh? other, RunContext run)
    {
        var side = new byte[mesh.TriangleCount];
        if (other is null)
        {
            for (var t = 0; t < side.Length; t++)
                side[t] = (byte)mesh.Origins[t];
        }
        else
        {
            // On the surface: as near as a cut may have been settled.
            var tree = TriangleTree.Build(other, run);
            var nearMm = CutSettling.FarthestShare * mesh.BoundsMm().Diagonal;
            Partition.Ranges(run, side.Length, 1 << 12, (_, from, to) =>
            {
                for (var t = from; t < to; t++)
                {
                    var (a, b, c) = mesh.Triangle(t);
                    side[t] = tree.Nearest((mesh.Vertex(a) + mesh.Vertex(b) + mesh.Vertex(c)) / 3, nearMm).Found ? (byte)1 : (byte)0;
                }
            });
        }

        var edges = EdgeTable.Build(mesh);
        List<(int, int)> seam = [];
        for (var h = 0; h < edges.Opposite.Length; h++)
            if (edges.Opposite[h] > h && side[h / 3] != side[edges.Opposite[h] / 3])
                seam.Add((mesh.Triangles[h], mesh.Triangles[EdgeTable.Next(h)]));
        return seam;
    }

    /// <summary>Halves longest edges of triangles that reach into the zone, until none is longer than the target.</summary>
    private static Mesh Refined(Mesh mesh, SeamZone zone, double targetMm, RunContext run)
    {
        var editor = new EditableMesh(mesh);
        var onEdge = new List<int>();
        var look = new Queue<int>(Enumerable.Range(0, mesh.TriangleCount));
        while (look.TryDequeue(out var t))
        {
            if ((look.Count & 0xFFF) == 0)
                run.ThrowIfCancelled();
            var (u, v, w) = Longest(editor, t);
            if (Vec3.Distance(editor.Local(u), editor.Local(v)) <= targetMm || !zone.Reaches(editor.Local(u), editor.Local(v), editor.Local(w)))
                continue;
            onEdge.Clear();
            editor.FindEdgeTriangles(u, v, onEdge);
            var middle = editor.AddVertex((editor.Local(u) + editor.Local(v)) * 0.5);
            foreach (var half in onEdge.Order().ToArray())
            {
                var (a, b, c) = editor.Triangle(half);
                while (!((a == u && b == v) || (a == v && b == u)))
                    (a, b, c) = (b, c, a);
                editor.SetTriangle(half, a, middle, c, editor.OriginOf(half));
                look.Enqueue(half);
                look.Enqueue(editor.AddTriangle(middle, b, c, editor.OriginOf(half)));
            }

            if (editor.TriangleCount > MostTriangles)
                throw new CheckFailedException(Step, $"at most {MostTriangles} triangles", "more; widen the blend, which makes its triangles larger");
        }

        return editor.Build(out _);
    }

    private static (int U, int V, int W) Longest(EditableMesh editor, int t)
    {
        var (u, v, w) = editor.Triangle(t);
        double uv = Length(u, v), vw = Length(v, w), wu = Length(w, u);
        if (uv >= vw && uv >= wu)
            return (u, v, w);
        return vw >= wu ? (v, w, u) : (w, u, v);

        double Length(int a, int b) => Vec3.Distance(editor.Local(a), editor.Local(b));
    }

    private static Mesh Blended(Mesh fine, SeamZone zone, double widthMm, RunContext run, out int heldBack)
    {
        var around = VertexTriangles.Of(fine);
        var (vertices, shares) = Moving(fine, zone, widthMm);
        var smooth = Smoothed(fine, around, vertices, shares, run);
        var keep = new double[fine.VertexCount];
        Array.Fill(keep, 1);
        heldBack = 0;
        for (var hold = 0; ; hold++)
        {
            var blended = Between(fine, vertices, smooth, keep);
            var faults = CutSettling.Faults(blended, run);
            if (faults.Count == 0)
            {
                var facts = MeshFacts.Measure(blended, run);
                return facts.Solid ? blended : throw new CheckFailedException(Step, "a solid after blending", SolidCheck.FirstFault(facts) ?? "none");
            }

            if (hold == MostHolds)
                throw new CheckFailedException(Step, "a blend without crossings", $"{faults.Count} places where there is no room for it; make it narrower");
            heldBack += faults.Count;
            HoldBack(fine, around, faults, keep, hold == MostHolds - 1 ? 0 : 0.5);
        }
    }

    private static (int[] Vertices, double[] Shares) Moving(Mesh mesh, SeamZone zone, double widthMm)
    {
        List<int> vertices = [];
        List<double> shares = [];
        for (var v = 0; v < mesh.VertexCount; v++)
        {
            var far = zone.DistanceMm(mesh.Local(v)) / widthMm;
            if (!(far < 1))
                continue;
            vertices.Add(v);
            shares.Add(0.5 * (1 - (far * far)) * (1 - (far * far)));
        }

        return ([.. vertices], [.. shares]);
    }

    private static Vec3[] Smoothed(Mesh mesh, VertexTriangles around, int[] vertices, double[] shares, RunContext run)
    {
        var place = new Vec3[mesh.VertexCount];
        for (var v = 0; v < place.Length; v++)
            place[v] = mesh.Local(v);
        var next = new Vec3[vertices.Length];
        for (var round = 0; round < Rounds; round++)
        {
            Partition.Ranges(run, vertices.Length, 1 << 10, (_, from, to) =>
            {
                for (var i = from; i < to; i++)
                {
                    var v = vertices[i];
                    var (sum, count) = (Vec3.Zero, 0);
                    // Around a closed surface each neighbour is the next corner of exactly one triangle.
                    foreach (var corner in around.CornersAt(v))
                    {
                        sum += place[mesh.Triangles[EdgeTable.Next(corner)]];
                        count++;
                    }

                    next[i] = Vec3.Lerp(place[v], sum / count, shares[i]);
                }
            });
            for (var i = 0; i < vertices.Length; i++)
                place[vertices[i]] = next[i];
        }

        return place;
    }

    private static Mesh Between(Mesh fine, int[] vertices, Vec3[] smooth, double[] keep)
    {
        var positions = fine.Positions.ToArray();
        foreach (var v in vertices)
        {
            var at = Vec3.Lerp(fine.Local(v), smooth[v], keep[v]);
            (positions[3 * v], positions[(3 * v) + 1], positions[(3 * v) + 2]) = ((float)at.X, (float)at.Y, (float)at.Z);
        }

        return new(fine.OriginMm, positions, fine.TriangleArray, fine.OriginArray);
    }

    private static void HoldBack(Mesh mesh, VertexTriangles around, List<(int First, int Second)> faults, double[] keep, double share)
    {
        var held = new SortedSet<int>();
        foreach (var (first, second) in faults)
            held.UnionWith([.. mesh.Triangles.Slice(3 * first, 3), .. mesh.Triangles.Slice(3 * second, 3)]);
        foreach (var v in held.ToArray())
            foreach (var corner in around.CornersAt(v))
                held.Add(mesh.Triangles[EdgeTable.Next(corner)]);
        foreach (var v in held)
            keep[v] *= share;
    }
}
