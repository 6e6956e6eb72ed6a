using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Repair;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Combining;

/// <summary>One Boolean over several solids, from the engine's answer to a mesh that passes the exact tests.</summary>
/// <param name="Mesh">Empty when nothing is left.</param>
/// <param name="Raw">What the engine gave, before settling.</param>
/// <param name="Settled">Places changed after rounding: edges collapsed, films dropped.</param>
/// <param name="SettledMaxMm">How far the surface was moved in doing so.</param>
/// <remarks>
/// The engine's result is rounded to float32; then films are dropped (<see cref="Dust"/>) and folds are collapsed
/// (<see cref="CutSettling"/>). Where that does not make a solid, faces of the sources lie within rounding of each other: those of
/// the later source are moved outward by 2, 4, 8 and 16 steps of float32 (<see cref="Nudge"/>) and all is done again. Last of all, the
/// general repairs may try, as long as they move nothing by more than <see cref="CutSettling.FarthestShare"/> of the diagonal.
/// </remarks>
internal sealed record SolidCombination(Mesh Mesh, MeshFacts Facts, CombinedMesh Raw, int Settled, double SettledMaxMm)
{
    private static readonly double[] s_nudgeSteps = [2, 4, 8, 16];

    /// <param name="engine">With all sources added.</param>
    /// <param name="combine">The operation, given the engine's numbers of the sources in order.</param>
    /// <exception cref="CheckFailedException">The result cannot be made a solid.</exception>
    public static SolidCombination Make(string step, SolidEngine engine, Func<SolidEngine, int[], int> combine, RunContext run)
    {
        var meshes = engine.Sources.Select(s => s.Mesh).ToArray();
        var raw = CombinedMesh.From(engine.Read(combine(engine, [.. Enumerable.Range(0, meshes.Length)])), engine);
        var first = Settle(raw, run);
        if (first.Facts.Solid || first.Mesh.TriangleCount == 0)
            return first;
        var faces = new SortedSet<int>[meshes.Length];
        for (var s = 0; s < faces.Length; s++)
            faces[s] = [];
        var attempt = raw;
        foreach (var steps in s_nudgeSteps)
        {
            var found = Nudge.FacesAtFaults(attempt, meshes.Length, run);
            for (var s = 0; s < faces.Length; s++)
                faces[s].UnionWith(found[s]);
            var byMm = steps * meshes.Max(Dust.StepMm);
            using var again = SolidEngine.Start(engine.OriginMm, run);
            for (var s = 0; s < meshes.Length; s++)
                again.Add(faces[s].Count == 0 ? meshes[s] : Nudge.Outward(meshes[s], faces[s], byMm));
            attempt = CombinedMesh.From(again.Read(combine(again, [.. Enumerable.Range(0, meshes.Length)])), again);
            var settled = Settle(attempt, run);
            if (settled.Facts.Solid || settled.Mesh.TriangleCount == 0)
                return settled with { Settled = settled.Settled + faces.Sum(f => f.Count), SettledMaxMm = Math.Max(settled.SettledMaxMm, Math.Sqrt(3) * byMm) };
        }

        return Repaired(step, first, run);
    }

    /// <summary>Area of the model that went plus area that came.</summary>
    /// <param name="ofModel">Whether a source is part of the model.</param>
    public double ChangedAreaMm2(Func<int, bool> ofModel, double modelAreaMm2)
    {
        double wholeMm2 = 0, newMm2 = 0;
        for (var t = 0; t < Raw.Mesh.TriangleCount; t++)
        {
            var (a, b, c) = Raw.Mesh.Triangle(t);
            if (ofModel(Raw.SourceOf[t]) && !Raw.VertexIsNew[a] && !Raw.VertexIsNew[b] && !Raw.VertexIsNew[c])
                wholeMm2 += MeshMeasures.TriangleAreaMm2(Raw.Mesh, t);
            else
                newMm2 += MeshMeasures.TriangleAreaMm2(Raw.Mesh, t);
        }

        return Math.Max(0, modelAreaMm2 - wholeMm2) + newMm2;
    }

    public SortedDictionary<string, double> Measures(params ReadOnlySpan<(string Name, double Value)> more)
    {
        var measures = new SortedDictionary<string, double>(StringComparer.Ordinal)
        {
            ["piecesAfter"] = Facts.Components,
            ["settledMaxMm"] = SettledMaxMm,
            ["settledPlaces"] = Settled,
            ["trianglesKept"] = Raw.Whole,
            ["trianglesNew"] = Math.Max(0, Facts.Triangles - Raw.Whole),
        };
        foreach (var (name, value) in more)
            measures.Add(name, value);
        return measures;
    }

    public Finding SettledFinding() => new(
        FindingCodes.CutSettled,
        Severity.Note,
        FormattableString.Invariant($"Along the cut {Settled} places were straightened that rounding had folded; the surface moved by at most {SettledMaxMm:G3} mm."),
        "Nothing needs doing.");

    private static SolidCombination Settle(CombinedMesh raw, RunContext run)
    {
        var (mesh, isNew, dust) = Dust.Drop(raw, run);
        var settled = CutSettling.Apply(mesh, isNew, run);
        return new(settled.Mesh, settled.Facts, raw, settled.Places + dust, settled.MaxMm);
    }

    private static SolidCombination Repaired(string step, SolidCombination first, RunContext run)
    {
        var flat = RemoveDegenerates.Apply(first.Mesh, new(), run);
        var apart = RemoveSelfIntersections.Apply(flat.Mesh, new(), run);
        var facts = MeshFacts.Measure(apart.Mesh, run);
        var movedMm = Math.Max(flat.Effect.MaxDisplacementMm ?? 0, apart.Effect.MaxDisplacementMm ?? 0);
        if (!facts.Solid || movedMm > CutSettling.FarthestShare * first.Mesh.BoundsMm().Diagonal)
            throw new CheckFailedException(
                step,
                "a solid result",
                $"{SolidCheck.FirstFault(first.Facts)}: surfaces that nearly coincide; move one of the parts by a hundredth of a millimetre");
        return first with { Mesh = apart.Mesh, Facts = facts, Settled = first.Settled + 1, SettledMaxMm = Math.Max(first.SettledMaxMm, movedMm) };
    }
}
