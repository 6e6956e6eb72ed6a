using System.Diagnostics.CodeAnalysis;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Plans;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.App.Pipeline;

/// <summary>What a step may do: read the state, put a new value in its place, and say what changed.</summary>
internal delegate StepOutcome StepFunction(PipelineState state, PlanStep step, RunContext run);

/// <summary>The measured effect of a step and what a person should know of it.</summary>
internal sealed record StepOutcome(StepEffect Effect, IReadOnlyList<Finding> Findings)
{
    public static StepOutcome Of(StepEffect effect, params Finding[] findings) => new(effect, findings);
}

/// <summary>Name → parameters → function, for every step a plan may hold. The only place that knows them all.</summary>
internal sealed class StepCatalog
{
    private readonly Dictionary<string, (StepSpec Spec, StepFunction Run)> _steps = new(StringComparer.Ordinal);

    private StepCatalog(IEnumerable<(StepSpec Spec, StepFunction Run)> steps)
    {
        foreach (var step in steps)
            _steps.Add(step.Spec.Name, step);
        Specs = [.. _steps.Values.Select(s => s.Spec).OrderBy(s => s.Stage).ThenBy(s => s.Name, StringComparer.Ordinal)];
    }

    /// <summary>Every step, in the order of the stages.</summary>
    public IReadOnlyList<StepSpec> Specs { get; }

    public static StepCatalog Create() => new([.. Steps.ImageSteps.All, .. Steps.SegmentSteps.All, .. Steps.SurfaceSteps.All, .. Steps.RepairSteps.All, .. Steps.ShapeSteps.All, .. Steps.ShellSteps.All, .. Steps.CloudSteps.All, .. Steps.SensitivitySteps.All, .. Steps.CombineSteps.All, .. Steps.MarkSteps.All, .. Steps.PrepareSteps.All]);

    public bool TryFind(string name, [NotNullWhen(true)] out StepSpec? spec)
    {
        var found = _steps.TryGetValue(name, out var step);
        spec = found ? step.Spec : null;
        return found;
    }

    public StepFunction Function(string name) => _steps[name].Run;
}
