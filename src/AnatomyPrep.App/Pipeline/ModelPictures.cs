using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Imaging.Pictures;

namespace AnatomyPrep.App.Pipeline;

/// <summary>A picture of the model, below the result folder.</summary>
internal sealed record ModelPicture(string File, string Caption, bool IsLarge);

/// <summary>The pictures that people judge a model by.</summary>
internal static class ModelPictures
{
    public const string Preview = "preview.png";
    public const string Sections = "sections";
    public const string SensitivityPicture = "sensitivity.png";

    private static readonly double[] s_shiftLimitsMm = [0.1, 0.25, 0.5, 1];

    // Below this the surface lies in soft tissue, and the outline must be judged on a soft-tissue window.
    private const short BoneFromHu = 100;

    public static IReadOnlyList<ModelPicture> Write(Mesh mesh, PipelineState state, string folder, RunContext run)
    {
        run.Report("pictures", "preview", 0);
        PreviewPicture.Write(mesh, Path.Combine(folder, Preview), PreviewOptions.Default with { Axes = AxesOf(state) }, run);
        var from = state.InPatientSpace is null ? "from its left side, and from the front, left and above" : "from +x, and from the front, +x and above, as it lies in the machine";
        var pictures = new List<ModelPicture> { new(Preview, $"The model from the front, {from}", true) };
        if (state.Print is { } print)
            pictures.AddRange(PrintPictures.Write(print, folder, run));
        if (state.Shifts is { } shifts)
            pictures.Add(WriteShifts(shifts, folder, run));
        if (state.SourceVolume is not { } source)
            return pictures;

        run.Report("pictures", "sections", 0.5);
        var options = SectionOptions.Default with { Window = state.LevelHu < BoneFromHu ? GreyWindow.Soft : GreyWindow.Bone };
        foreach (var section in SectionPictures.Write(state.InPatientSpace ?? mesh, source, folder, options, run))
            pictures.Add(new(section.Name, FormattableString.Invariant($"Outline on the images, {section.Plane.Name} plane at {section.PositionMm:F1} mm"), false));
        return pictures;
    }

    /// <summary>A model that was laid for the machine has no left and right of the patient any more.</summary>
    public static PictureAxes AxesOf(PipelineState state) => state.InPatientSpace is null ? PictureAxes.Patient : PictureAxes.Machine;

    private static ModelPicture WriteShifts(SurfaceShifts shifts, string folder, RunContext run)
    {
        var colours = TriangleColours.ByLength(shifts.Mesh, shifts.LargestMm, s_shiftLimitsMm);
        PreviewPicture.Write(shifts.Mesh, Path.Combine(folder, SensitivityPicture), PreviewOptions.Default with { Colours = colours }, run);
        return new(SensitivityPicture, FormattableString.Invariant($"How far the surface moves for {shifts.StepHu} HU more or less"), true);
    }
}
