using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Plans;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.App.Pipeline;

/// <summary>A model, or one structure of it, as it goes into files.</summary>
/// <param name="Structure">Null for the model of a plan without structures.</param>
/// <param name="LevelHu">Lower level of the region the surface was made from; null where there was none.</param>
/// <param name="Shifts">How far the surface would move; null where no step measured it.</param>
/// <param name="RemovedMm3">What it had in common with structures before it.</param>
/// <param name="Deviation">Distance to the surface of its images; null where there are none, or where it was put is not known.</param>
/// <param name="SourceSurface">That surface.</param>
internal sealed record FinishedSolid(PlanStructure? Structure, Mesh Mesh, short? LevelHu, SurfaceShifts? Shifts, Measurements Measurements, double RemovedMm3 = 0, SourceDeviationFigures? Deviation = null, Mesh? SourceSurface = null)
{
    public string Name => Structure!.Name;

    public Side? Side => Structure!.Side is { } side ? Enum.Parse<Side>(side, ignoreCase: true) : null;

    public string StlFile => $"{ModelFiles.StructureFolder}/{Structure!.FileName}.stl";

    public string PlyFile => $"{ModelFiles.StructureFolder}/{Structure!.FileName}.ply";

    public string PreviewFile => $"{ModelFiles.StructureFolder}/{Structure!.FileName}.png";

    public string SensitivityFile => Structure is null ? ModelFiles.Sensitivity : $"{ModelFiles.StructureFolder}/{Structure.FileName}-sensitivity.ply";

    public string SensitivityPicture => Structure is null ? ModelPictures.SensitivityPicture : $"{ModelFiles.StructureFolder}/{Structure.FileName}-sensitivity.png";

    public string DeviationPicture => Structure is null ? ModelPictures.DeviationPicture : $"{ModelFiles.StructureFolder}/{Structure.FileName}-deviation.png";

    /// <summary>Its line in the table of structures.</summary>
    public StructureFacts Facts() => new(Name, Structure!.Colour.ToHex(), [.. OwnFiles()], Measurements, RemovedMm3, Side);

    private IEnumerable<string> OwnFiles()
    {
        if (Deviation is not null)
            yield return DeviationPicture;
        if (Shifts is not null)
        {
            yield return SensitivityFile;
            yield return SensitivityPicture;
        }

        yield return PlyFile;
        yield return PreviewFile;
        yield return StlFile;
    }
}
