using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
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
        var steps = RunSteps(source.State, plan, findings, run);

        // Files hold float32 about zero: what is checked from here on is exactly what they hold.
        var mesh = source.State.Surface("verify").Rebased(Vec3.Zero);
        run.ThrowIfCancelled();
        run.Report("verify", "checking the mesh", 0);
        var facts = MeshFacts.Measure(mesh, run);
        findings.AddRange(ModelFindings.Of(facts));
        var measurements = RecordMapping.Measurements(facts, MeshMeasures.AreaByOriginMm2(mesh, run));

        var pictures = ModelPictures.Write(mesh, source.State, folder, run);
        var made = new RunFacts
        {
            Request = request,
            Source = source.Facts,
            Plan = new PlanFacts(plan.Plan.Name, plan.Plan.Version, plan.Yaml),
            Software = SoftwareIdentity.Facts,
            Steps = steps,
            Findings = findings,
            Measurements = measurements,
            StartedAt = startedAt,
            FinishedAt = recorded?.FinishedAt ?? clock.GetUtcNow(),
        };
        run.Report("files", "writing", 0);
        ModelFiles.WriteModel(mesh, made, folder, run);
        if (source.State.Shifts is { } shifts)
            ModelFiles.WriteShifts(shifts, folder, run);
        ModelFiles.WriteReport(made, pictures, folder);
        return made;
    }

    private List<StepFacts> RunSteps(PipelineState state, PlanText plan, List<Finding> findings, RunContext run)
    {
        var steps = new List<StepFacts>();
        foreach (var step in plan.Plan.Steps)
        {
            run.ThrowIfCancelled();
            run.Report(step.Name, "running", 0);
            var outcome = catalog.Function(step.Name)(state, step, run);
            run.Report(step.Name, "done", 1);
            findings.AddRange(outcome.Findings);
            if (outcome.Findings.FirstOrDefault(f => f.Severity == Severity.Stop) is { } stop)
                throw new BadInputException(step.Name, stop.Code, stop.Message.TrimEnd('.'), stop.Remedy, outcome.Findings);
            catalog.TryFind(step.Name, out var spec);
            steps.Add(StepFacts.Of(step, spec!.Stage, outcome.Effect));
        }

        return steps;
    }
}
