using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Pictures;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.App.Pipeline;

/// <summary>A picture of the model, below the result folder.</summary>
internal sealed record ModelPicture(string File, string Caption, bool IsLarge);

/// <summary>The pictures that people judge a model by.</summary>
internal static class ModelPictures
{
    public const string Preview = "preview.png";
    public const string Sections = "sections";
    public const string SensitivityPicture = "sensitivity.png";

    public const string DeviationPicture = "deviation.png";

    private static readonly Rgb s_sourceOutline = new(255, 255, 255);
    private static readonly double[] s_shiftLimitsMm = [0.1, 0.25, 0.5, 1];

    // Below this the surface lies in soft tissue, and the outline must be judged on a soft-tissue window.
    private const short BoneFromHu = 100;

    private const string Views = "from the front, from its left side, and from the front, left and above";

    /// <param name="state">Images to draw the outline on, and what a check for printing found.</param>
    public static IReadOnlyList<ModelPicture> Write(FinishedSolid model, PipelineState state, string folder, RunContext run)
    {
        run.Report("pictures", "preview", 0);
        PreviewPicture.Write(model.Mesh, Path.Combine(folder, Preview), PreviewOptions.Default with { Axes = AxesOf(state) }, run);
        var from = state.KeepsPatientAxes ? Views : "from the front, from +x, and from the front, +x and above, as the plan placed it";
        var pictures = new List<ModelPicture> { new(Preview, $"The model {from}", true) };
        if (state.Laid is { } laid)
            pictures.Add(OrientationPicture.Write(laid, folder, run));
        if (state.Print is { } print)
            pictures.AddRange(PrintPictures.Write(print, folder, run));
        if (model.Shifts is { } shifts)
            pictures.Add(WriteShifts(shifts, model.SensitivityPicture, "How far the surface", folder, run));
        if (model.Deviation is not null)
            pictures.Add(WriteDeviation(model, "How far the model lies outside (+) or inside (-) the surface of the images, where the images are", folder, run));
        if (state.SourceVolume is { } source)
        {
            pictures.AddRange(WriteSections([new(WhereImagesAre(model, state, run))], source, model.LevelHu < BoneFromHu, folder, run));
            if (model.Deviation is { } deviation)
                pictures.AddRange(WriteDeviationSections(deviation, state.SourceSurface!, source, model.LevelHu < BoneFromHu, folder, run));
        }

        return pictures;
    }

    /// <summary>All structures together in their colours, each alone, and their outlines on the same slices.</summary>
    public static IReadOnlyList<ModelPicture> WriteStructures(IReadOnlyList<FinishedSolid> solids, Volume? source, string folder, RunContext run)
    {
        run.Report("pictures", "preview", 0);
        var together = MeshJoin.Join([.. solids.Select(s => s.Mesh)]);
        var colours = TriangleColours.ByPart([.. solids.Select(s => (s.Name, s.Structure!.Colour, s.Mesh.TriangleCount))]);
        PreviewPicture.Write(together, Path.Combine(folder, Preview), PreviewOptions.Default with { Colours = colours }, run);
        var pictures = new List<ModelPicture> { new(Preview, $"All structures {Views}", true) };
        Directory.CreateDirectory(Path.Combine(folder, ModelFiles.StructureFolder));
        foreach (var solid in solids)
        {
            PreviewPicture.Write(solid.Mesh, Path.Combine(folder, solid.PreviewFile), PreviewOptions.Default, run);
            pictures.Add(new(solid.PreviewFile, $"{solid.Name} alone", true));
            if (solid.Shifts is { } shifts)
                pictures.Add(WriteShifts(shifts, solid.SensitivityPicture, $"{solid.Name}: how far the surface", folder, run));
            if (solid.Deviation is not null)
                pictures.Add(WriteDeviation(solid, $"{solid.Name}: how far it lies outside (+) or inside (-) the surface of the images", folder, run));
        }

        if (source is not null)
            pictures.AddRange(WriteSections([.. solids.Select(s => new OutlinedMesh(s.Mesh, s.Name, s.Structure!.Colour))], source, solids.Any(s => s.LevelHu < BoneFromHu), folder, run));
        return pictures;
    }

    /// <summary>A model that was turned, mirrored or taken apart has not the patient's left and right any more.</summary>
    public static PictureAxes AxesOf(PipelineState state) => state.KeepsPatientAxes ? PictureAxes.Patient : PictureAxes.Machine;

    private static Mesh WhereImagesAre(FinishedSolid model, PipelineState state, RunContext run) =>
        model.Deviation?.Model ?? state.BeforeParting ?? KnownPlacement.Undo(model.Mesh, state.Placement!.Value, run);

    private static IEnumerable<ModelPicture> WriteSections(IReadOnlyList<OutlinedMesh> meshes, Volume source, bool soft, string folder, RunContext run)
    {
        run.Report("pictures", "sections", 0.5);
        var options = SectionOptions.Default with { Window = soft ? GreyWindow.Soft : GreyWindow.Bone };
        return SectionPictures.Write(meshes, source, folder, options, run)
            .Select(s => new ModelPicture(s.Name, FormattableString.Invariant($"Outline on the images, {s.Plane.Name} plane at {s.PositionMm:F1} mm"), false));
    }

    /// <summary>Drawn where the images are, however the plan placed the model, so that the patient's letters around it hold.</summary>
    private static ModelPicture WriteDeviation(FinishedSolid solid, string caption, string folder, RunContext run)
    {
        run.Report("pictures", "deviation", 0.2);
        var (model, vertexMm) = (solid.Deviation!.Model, solid.Deviation.VertexMm);
        PreviewPicture.Write(model, Path.Combine(folder, solid.DeviationPicture), PreviewOptions.Default with { Colours = TriangleColours.BySignedLength(model, vertexMm, s_shiftLimitsMm) }, run);
        return new(solid.DeviationPicture, caption, true);
    }

    /// <summary>Model and source outlined in the three planes through where the measured surface deviates most.</summary>
    private static IEnumerable<ModelPicture> WriteDeviationSections(SourceDeviationFigures deviation, Mesh surface, Volume source, bool soft, string folder, RunContext run)
    {
        var options = SectionOptions.Default with { Window = soft ? GreyWindow.Soft : GreyWindow.Bone };
        OutlinedMesh[] outlines = [new(deviation.Model), new(surface, "surface of the images", s_sourceOutline)];
        return SectionPictures.WriteAt(outlines, source, deviation.LookAtMm, "deviation", folder, options, run)
            .Select(s => new ModelPicture(s.Name, FormattableString.Invariant($"Where the measured surface deviates most, {s.Plane.Name} plane at {s.PositionMm:F1} mm"), false));
    }

    private static ModelPicture WriteShifts(SurfaceShifts shifts, string file, string subject, string folder, RunContext run)
    {
        run.Report("pictures", "sensitivity", 0.3);
        var colours = TriangleColours.ByLength(shifts.Mesh, shifts.LargestMm, s_shiftLimitsMm);
        PreviewPicture.Write(shifts.Mesh, Path.Combine(folder, file), PreviewOptions.Default with { Colours = colours }, run);
        return new(file, FormattableString.Invariant($"{subject} moves for {shifts.StepHu} HU more or less"), true);
    }
}
