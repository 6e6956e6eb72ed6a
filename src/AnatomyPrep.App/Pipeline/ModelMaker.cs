using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Plans;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Records.Statements;
using MeshFacts = AnatomyPrep.Meshing.Verify.MeshFacts;

namespace AnatomyPrep.App.Pipeline;

/// <summary>When a run began and ended; a replay gives those of the record, so that every byte can be compared.</summary>
internal sealed record RunTimes(DateTimeOffset StartedAt, DateTimeOffset FinishedAt);

/// <summary>Runs a plan on a source and writes every artifact but the signature.</summary>
internal sealed class ModelMaker(StepCatalog catalog, TimeProvider clock)
{
    /// <summary>Makes the model and its pictures, files and report in <paramref name="folder"/>.</summary>
    /// <param name="recorded">Times to state instead of the clock's.</param>
    /// <exception cref="BadInputException">A step found that the input cannot give a model.</exception>
    public RunFacts Make(LoadedSource source, PlanText plan, RunRequest request, string folder, RunTimes? recorded, RunContext run)
    {
        var startedAt = recorded?.StartedAt ?? clock.GetUtcNow();
        var findings = new List<Finding>(source.Findings);
        source.State.Profile = plan.Profile;
        var steps = RunSteps(source.State, plan.Plan.Steps, null, findings, run);
        double? sharedMm3 = null;
        var several = plan.Plan.Structures.Count > 0;
        var solids = several ? MakeStructures(source.State, plan.Plan.Structures, steps, findings, out sharedMm3, run) : [MakeModel(source.State, findings, run)];

        var dicom = new DicomModel(source, plan, PlacesElsewhere(plan.Plan.Steps));
        findings.AddRange(dicom.Findings(solids.Sum(s => (long)s.Mesh.TriangleCount)));
        var measurements = several ? RecordMapping.Together([.. solids.Select(s => s.Measurements)]) : solids[0].Measurements;
        if (plan.Landmarks is { } asked)
            measurements = measurements with { Landmarks = ModelLandmarks.Measure(asked, solids, source, findings, run) };
        GiveBack();
        var pictures = several ? ModelPictures.WriteStructures(solids, source.State.SourceVolume, folder, run) : ModelPictures.Write(solids[0], source.State, folder, run);
        var made = new RunFacts
        {
            Request = request,
            Source = source.Facts,
            Plan = new PlanFacts(plan.Plan.Name, plan.Plan.Version, plan.Yaml),
            Software = SoftwareIdentity.Facts,
            Steps = steps,
            Findings = findings,
            Measurements = measurements,
            Structures = several ? [.. solids.Select(s => s.Facts())] : null,
            SharedMm3 = sharedMm3,
            StartedAt = startedAt,
            FinishedAt = recorded?.FinishedAt ?? clock.GetUtcNow(),
        };
        run.Report("files", "writing", 0);
        if (several)
            ModelFiles.WriteStructures(solids, made, folder, run);
        else
            ModelFiles.WriteModel(solids[0].Mesh, made, folder, run);
        foreach (var solid in solids)
            if (solid.Shifts is { } shifts)
                ModelFiles.WriteShifts(shifts, solid.SensitivityFile, folder, run);
        dicom.Write(made, folder);
        run.Report("files", "report and label", 0.5);
        ModelFiles.WritePapers(made, pictures, folder, run);
        return made;
    }

    private bool PlacesElsewhere(IReadOnlyList<PlanStep> steps) => steps.Any(s => catalog.TryFind(s.Name, out var spec) && spec.MovesModel);

    // Trees and tables are as large as several meshes, and the next stage needs none of the last one's: what is garbage must not lie beside what is not.
    private static void GiveBack() => GC.Collect(GC.MaxGeneration, GCCollectionMode.Aggressive, blocking: true, compacting: true);

    private static FinishedSolid MakeModel(PipelineState state, List<Finding> findings, RunContext run)
    {
        // Files hold float32 about zero: what is checked from here on is exactly what they hold.
        var mesh = state.Surface("verify").Rebased(Vec3.Zero);
        run.ThrowIfCancelled();
        run.Report("verify", "checking the mesh", 0);
        var facts = MeshFacts.Measure(mesh, run);
        findings.AddRange(ModelFindings.Of(facts));
        return Finished(null, mesh, facts, state.LevelHu, state.Shifts, state.SourceSurface, state.Placement, 0, run);
    }

    private static FinishedSolid Finished(PlanStructure? structure, Mesh mesh, MeshFacts facts, short? levelHu, SurfaceShifts? shifts, Mesh? source, Affine3? placement, double removedMm3, RunContext run)
    {
        GiveBack();
        run.Report("verify", "distance to the images", 0);
        var deviation = source is not null && placement is { } where ? SourceDeviation.Measure(mesh, where, source, run) : null;
        var measurements = RecordMapping.Measurements(facts, MeshMeasures.AreaByOriginMm2(mesh, run)) with
        {
            Deviation = deviation is null ? null : RecordMapping.Deviation(deviation, placement!.Value),
        };
        return new(structure, mesh, levelHu, shifts, measurements, removedMm3, deviation, source);
    }

    /// <summary>Runs every structure's own steps, takes away what they share, and checks each as a model is checked.</summary>
    private FinishedSolid[] MakeStructures(PipelineState shared, IReadOnlyList<PlanStructure> structures, List<StepFacts> steps, List<Finding> findings, out double? sharedMm3, RunContext run)
    {
        var raw = structures.Select(s => MakeStructure(shared, s, steps, findings, run)).ToArray();
        var separated = StructureOverlap.Remove([.. raw.Select(r => (r.Structure.Name, r.Mesh))], findings, run);
        var solids = new FinishedSolid[raw.Length];
        for (var s = 0; s < solids.Length; s++)
        {
            var mesh = separated?[s].Mesh ?? raw[s].Mesh;
            run.ThrowIfCancelled();
            run.Report("verify", $"checking {structures[s].Name}", (double)s / solids.Length);
            var facts = MeshFacts.Measure(mesh, run);
            findings.AddRange(ModelFindings.Of(facts).Select(f => About(structures[s], f)));
            solids[s] = Finished(structures[s], mesh, facts, raw[s].LevelHu, raw[s].Shifts, raw[s].Source, raw[s].Placement, separated?[s].RemovedMm3 ?? 0, run);
        }

        sharedMm3 = separated is null ? null : StructureOverlap.Measure([.. solids.Select(s => (s.Name, s.Mesh))], findings, run);
        return solids;
    }

    private (PlanStructure Structure, Mesh Mesh, short? LevelHu, SurfaceShifts? Shifts, Mesh? Source, Affine3? Placement) MakeStructure(PipelineState shared, PlanStructure structure, List<StepFacts> steps, List<Finding> findings, RunContext run)
    {
        using var state = shared.Branch();
        var found = new List<Finding>();
        steps.AddRange(RunSteps(state, structure.Steps, structure, found, run));
        findings.AddRange(found);
        // As for a model: what is separated and checked is what the files hold.
        return (structure, state.Surface(structure.Name).Rebased(Vec3.Zero), state.LevelHu, state.Shifts, state.SourceSurface, state.Placement);
    }

    private List<StepFacts> RunSteps(PipelineState state, IReadOnlyList<PlanStep> plan, PlanStructure? structure, List<Finding> findings, RunContext run)
    {
        var steps = new List<StepFacts>();
        foreach (var step in plan)
        {
            run.ThrowIfCancelled();
            var stage = structure is null ? step.Name : $"{structure.Name}: {step.Name}";
            run.Report(stage, "running", 0);
            var before = state.Mesh;
            var outcome = catalog.Function(step.Name)(state, step, run);
            run.Report(stage, "done", 1);
            IReadOnlyList<Finding> found = structure is null ? outcome.Findings : [.. outcome.Findings.Select(f => About(structure, f))];
            findings.AddRange(found);
            if (found.FirstOrDefault(f => f.Severity == Severity.Stop) is { } stop)
                throw new BadInputException(step.Name, stop.Code, stop.Message.TrimEnd('.'), stop.Remedy, found);
            catalog.TryFind(step.Name, out var spec);
            state.Follow(before, spec!.MovesModel, run);
            steps.Add(StepFacts.Of(step, spec.Stage, outcome.Effect) with { Structure = structure?.Name });
        }

        return steps;
    }

    private static Finding About(PlanStructure structure, Finding finding) => finding with { Message = $"{structure.Name}: {finding.Message}" };
}
