using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Pictures;

namespace AnatomyPrep.App.Pipeline;

/// <summary>A picture of the model, below the result folder.</summary>
internal sealed record ModelPicture(string File, string Caption, bool IsLarge);

/// <summary>The pictures that people judge a model by.</summary>
internal static class ModelPictures
{
    public const string Preview = "preview.png";
    public const string Sections = "sections";

    // Below this the surface lies in soft tissue, and the outline must be judged on a soft-tissue window.
    private const short BoneFromHu = 100;

    public static IReadOnlyList<ModelPicture> Write(Mesh mesh, Volume? source, short? levelHu, string folder, RunContext run)
    {
        run.Report("pictures", "preview", 0);
        PreviewPicture.Write(mesh, Path.Combine(folder, Preview), PreviewOptions.Default, run);
        var pictures = new List<ModelPicture> { new(Preview, "The model from the front, from its left side, and from the front, left and above", true) };
        if (source is null)
            return pictures;

        run.Report("pictures", "sections", 0.5);
        var options = SectionOptions.Default with { Window = levelHu < BoneFromHu ? GreyWindow.Soft : GreyWindow.Bone };
        foreach (var section in SectionPictures.Write(mesh, source, folder, options, run))
            pictures.Add(new(section.Name, FormattableString.Invariant($"Outline on the images, {section.Plane.Name} plane at {section.PositionMm:F1} mm"), false));
        return pictures;
    }
}
