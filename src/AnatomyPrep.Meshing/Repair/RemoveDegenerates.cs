using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>What counts as degenerate.</summary>
/// <param name="MinimumHeightMm">
/// A triangle whose smallest height is at most this is degenerate, and no point of the surface moves by more in one edit.
/// Null: 2^-21 of the diagonal of the mesh's bounds, about four float32 steps, below which a normal is rounding noise.
/// </param>
public sealed record RemoveDegeneratesParameters(double? MinimumHeightMm = null);

/// <summary>Removes triangles without area: repeated vertices, needles (two vertices together) and caps (a vertex on the opposite edge).</summary>
/// <remarks>
/// Method, per triangle and in this order (after Botsch and Kobbelt, "A robust procedure to eliminate degenerate faces
/// from triangle meshes", VMV 2001, but by local edits instead of slicing): drop it if it names a vertex twice, for its
/// two neighbours then meet; collapse its shortest edge if that is no longer than the limit; flip its longest edge;
/// drop it where it lies at a border and its apex does not; collapse its apex along an edge if the apex then lies within
/// the limit of the new surface. A collapse needs the link condition (Dey, Edelsbrunner, Guha, Nekhayev 1999), so no
/// hole, pinch or double triangle appears, and must not turn a neighbour over. Pieces made of nothing but degenerate
/// triangles go as a whole.
/// A border triangle whose apex lies within an edge it shares is dropped last, for that leaves a slit.
/// The result is taken up again until nothing changes, so that repairing twice is repairing once.
/// Ends: each collapse or drop lowers the number of triangles, each flip raises the smaller height of its two
/// triangles, and nothing else is allowed. O(triangles) to look, O(valence^2) per edit.
/// Peak: 60 bytes a triangle, only when something has to be done; otherwise the input itself comes back.
/// What cannot be removed is named in a finding.
/// </remarks>
public static class RemoveDegenerates
{
    private const string Step = "remove degenerates";

    public static RepairResult Apply(Mesh mesh, RemoveDegeneratesParameters parameters, RunContext run)
    {
        var limitMm = parameters.MinimumHeightMm ?? DefaultHeightMm(mesh);
        ArgumentOutOfRangeException.ThrowIfNegative(limitMm, nameof(parameters));
        run.Report(Step, "look", 0);
        var suspects = FindDegenerate(mesh, limitMm, run);
        if (suspects.Count == 0)
            return RepairResult.Unchanged(mesh, run, measures: Measures(0, 0, 0));

        // Which edit comes first depends on how triangles stand in the list, so the result is taken up again until nothing changes.
        var tally = new Tally();
        var after = mesh;
        var left = suspects;
        for (var before = default(Mesh); !ReferenceEquals(before, after);)
        {
            before = after;
            var editor = new DegenerateEditor(new EditableMesh(before), limitMm);
            editor.Run(left, run);
            after = editor.Mesh.Build(out var changedMm2);
            tally.Add(editor, changedMm2);
            left = FindDegenerate(after, limitMm, run);
        }

        var measures = Measures(suspects.Count, tally.Edits, left.Count);
        var findings = Findings(after, suspects.Count - Math.Min(suspects.Count, left.Count), left, tally.Displacement, limitMm);
        return ReferenceEquals(after, mesh)
            ? RepairResult.Unchanged(mesh, run, findings, measures)
            : RepairResult.Changed(mesh, after, tally.ChangedMm2, tally.Displacement, run, measures, findings);
    }

    internal static double DefaultHeightMm(Mesh mesh) => mesh.TriangleCount == 0 ? 0 : mesh.BoundsMm().Diagonal * Math.Pow(2, -21);

    private static List<int> FindDegenerate(Mesh mesh, double limitMm, RunContext run)
    {
        const int block = 1 << 15;
        var found = new List<int>[Partition.Pieces(mesh.TriangleCount, block)];
        Partition.Ranges(run, mesh.TriangleCount, block, (piece, from, to) =>
        {
            found[piece] = [];
            for (var t = from; t < to; t++)
            {
                var (a, b, c) = mesh.Triangle(t);
                if (a == b || b == c || c == a || TriangleShape.HeightMm(mesh.Local(a), mesh.Local(b), mesh.Local(c)) <= limitMm)
                    found[piece].Add(t);
            }
        });
        return [.. found.SelectMany(f => f)];
    }

    private static Dictionary<string, double> Measures(int found, int edits, int left) => new()
    {
        ["degenerateTriangles"] = found,
        ["degenerateEdits"] = edits,
        ["degenerateTrianglesLeft"] = left,
    };

    private static List<Finding> Findings(Mesh after, int removed, List<int> left, DistanceTally displacement, double limitMm)
    {
        var findings = new List<Finding>();
        if (removed > 0)
        {
            findings.Add(new(
                FindingCodes.DegenerateRemoved,
                Severity.Note,
                string.Create(CultureInfo.InvariantCulture, $"{removed} triangles without area were removed; the surface moved by at most {displacement.MaxMm:G3} mm."),
                "Nothing to do."));
        }

        if (left.Count > 0)
        {
            findings.Add(new(
                FindingCodes.DegenerateKept,
                Severity.Caution,
                string.Create(CultureInfo.InvariantCulture, $"{left.Count} triangles no higher than {limitMm:G3} mm could not be removed without opening or folding the surface."),
                "Repair non-manifold edges first, then repeat; or remove the place and fill it.",
                new Place(PositionMm: after.Vertex(after.Triangle(left[0]).A), FirstTriangle: left[0])));
        }

        return findings;
    }

    private sealed class Tally
    {
        public int Edits { get; private set; }

        public double ChangedMm2 { get; private set; }

        public DistanceTally Displacement { get; private set; }

        public void Add(DegenerateEditor editor, double changedMm2)
        {
            Edits += editor.Edits;
            ChangedMm2 += changedMm2;
            Displacement = Displacement.With(editor.Displacement);
        }
    }
}
