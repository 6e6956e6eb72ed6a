using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Plans;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;
using AnatomyPrep.Meshing.Walls;

namespace AnatomyPrep.App.Pipeline.Steps;

/// <summary>Steps that make walls: shells of sheets, hollow solids, clearance.</summary>
internal static class ShellSteps
{
    private const double ThickestMm = 1000;

    private static readonly ParameterSpec s_thicknessMm = new("thicknessMm", ParameterKind.Number, "Thickness of the wall", 3.0, 0.05, ThickestMm);

    private static readonly ParameterSpec s_cellMm = new("cellMm", ParameterKind.Number, "Size of the grid's cells; left out, chosen by thickness and edge length", null, 0.001, ThickestMm, Optional: true);

    private static readonly ParameterSpec s_minPieceMm3 = new("minPieceMm3", ParameterKind.Number, "Smaller specks are dropped, smaller voids filled", 1.0, 0, 1e9);

    private static readonly ParameterSpec s_smoothRadiusMm = new("smoothRadiusMm", ParameterKind.Number, "Radius to which valleys of the offset wall are rounded, which adds material; 0 follows the surface faithfully", 0.0, 0, 100);

    public static IEnumerable<(StepSpec Spec, StepFunction Run)> All =>
    [
        SurfaceStep.Shape("shell", "Make one closed solid of even thickness out of an open sheet.",
            [
                s_thicknessMm,
                new("side", ParameterKind.Text, "Where the wall lies, seen from the sheet", "outward", Choices: ["outward", "inward", "centered"]),
                s_smoothRadiusMm,
                s_cellMm,
                s_minPieceMm3,
            ],
            (mesh, step, run) => MakeShell.Apply(mesh, new(step.Number("thicknessMm"), SideOf(step), step.NumberOrNull("cellMm"), step.Number("minPieceMm3"), step.Number("smoothRadiusMm")), run)),
        SurfaceStep.Shape("hollow", "Make a closed solid hollow; its outer surface stays as it is.",
            [
                s_thicknessMm,
                s_smoothRadiusMm,
                s_cellMm,
                new("minCavityMm3", ParameterKind.Number, "Smaller cavities are not made", 100.0, 0, 1e9),
            ],
            (mesh, step, run) => Hollow.Apply(mesh, new(step.Number("thicknessMm"), step.NumberOrNull("cellMm"), step.Number("minCavityMm3"), step.Number("smoothRadiusMm")), run)),
        SurfaceStep.Shape("clearance", "Grow or shrink a closed solid by a distance, so that it fits over or into another.",
            [
                new("distanceMm", ParameterKind.Number, "Outward; inward where negative", null, -ThickestMm, ThickestMm),
                s_cellMm,
                s_minPieceMm3,
            ],
            (mesh, step, run) => Clearance.Apply(mesh, new(step.Number("distanceMm"), step.NumberOrNull("cellMm"), step.Number("minPieceMm3")), run)),
    ];

    private static ShellSide SideOf(PlanStep step) => step.Text("side") switch
    {
        "outward" => ShellSide.Outward,
        "inward" => ShellSide.Inward,
        _ => ShellSide.Centered,
    };
}
