using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Repair;
using AnatomyPrep.Meshing.Shape;

namespace AnatomyPrep.Meshing.Prepare;

/// <summary>Puts the parts of a model side by side on the plate.</summary>
/// <remarks>
/// A part is an outward piece with the voids in it. Parts are moved and turned about z by quarter turns, see <see cref="Nest"/>; the plate's corner is at (0, 0, 0). A
/// second plate begins one plate's width and 20 mm to the right.
/// Measures: parts, plates.
/// </remarks>
public static class FitPlate
{
    private const string Step = "fit-plate";
    private const double BetweenPlatesMm = 20;

    /// <exception cref="PlanException">The gap is not a number from 0.</exception>
    /// <exception cref="CheckFailedException">A part is larger than the plate, or there is none.</exception>
    public static ShapeResult Apply(Mesh mesh, PrintProfile profile, double gapMm, RunContext run)
    {
        var parts = Split(mesh, run);
        var count = parts.Count;
        var placed = Nest.Place(parts, profile, gapMm, Math.Max(0.5, Math.Max(profile.BuildVolumeMm.X, profile.BuildVolumeMm.Y) / 250), run);
        var builder = new MeshBuilder(Vec3.Zero);
        foreach (var place in placed)
        {
            var map = Affine3.Translate(place.ShiftMm + new Vec3(place.Plate * (profile.BuildVolumeMm.X + BetweenPlatesMm), 0, 0))
                .After(Affine3.Rotate(new(0, 0, 1), place.TurnDeg * Math.PI / 180));
            var first = builder.VertexCount;
            var part = parts[place.Part];
            for (var v = 0; v < part.VertexCount; v++)
                builder.AddVertex(map.Map(part.Vertex(v)));
            for (var t = 0; t < part.TriangleCount; t++)
            {
                var (a, b, c) = part.Triangle(t);
                builder.AddTriangle(first + a, first + b, first + c, part.Origins[t]);
            }
        }

        var plates = placed.Max(p => p.Plate) + 1;
        var laid = builder.Build();
        var effect = new StepEffect(
            VolumeBeforeMm3: MeshMeasures.SignedVolumeMm3(mesh, run),
            VolumeAfterMm3: MeshMeasures.SignedVolumeMm3(laid, run),
            Measures: new SortedDictionary<string, double>(StringComparer.Ordinal) { ["parts"] = count, ["plates"] = plates });
        return new(laid, effect, plates == 1 ? [] : [new(FindingCodes.SeveralPlates, Severity.Note, $"{count} parts go on {plates} plates.", "They lie side by side in the file; print one plate after the other.")]);
    }

    /// <summary>The parts of a model as meshes of their own, in the order of their first triangle, each with its voids.</summary>
    public static IReadOnlyList<Mesh> Split(Mesh mesh, RunContext run)
    {
        var (partOf, count) = Parts(mesh, run);
        return [.. Enumerable.Range(0, count).Select(p => Only(mesh, partOf, p))];
    }

    /// <summary>Number of the part of every triangle: cavities go with the shell around them.</summary>
    private static (int[] Of, int Count) Parts(Mesh mesh, RunContext run)
    {
        var pieces = Pieces.Find(mesh, run);
        var shell = pieces.FindShellsOfCavities(mesh, run);
        var number = new int[pieces.All.Count];
        var count = 0;
        for (var p = 0; p < number.Length; p++)
            number[p] = shell[p] < 0 ? count++ : -1;
        for (var p = 0; p < number.Length; p++)
            if (shell[p] >= 0)
                number[p] = number[shell[p]];
        return (Array.ConvertAll(pieces.PieceOfTriangle, p => number[p]), count);
    }

    private static Mesh Only(Mesh mesh, int[] partOf, int part)
    {
        var builder = new MeshBuilder(mesh.OriginMm);
        var index = new Dictionary<int, int>();
        int Vertex(int v)
        {
            if (!index.TryGetValue(v, out var i))
                index.Add(v, i = builder.AddVertex(mesh.Vertex(v)));
            return i;
        }

        for (var t = 0; t < mesh.TriangleCount; t++)
            if (partOf[t] == part)
            {
                var (a, b, c) = mesh.Triangle(t);
                builder.AddTriangle(Vertex(a), Vertex(b), Vertex(c), mesh.Origins[t]);
            }

        return builder.Build();
    }
}
