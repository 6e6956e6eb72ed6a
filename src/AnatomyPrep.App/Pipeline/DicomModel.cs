using AnatomyPrep.Core.Dicom;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Imaging.Export;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.App.Pipeline;

/// <summary>The model of an image source as a DICOM object, so that it can go back to where the images are: docs/decisions/0007.</summary>
/// <param name="placesElsewhere">The plan moves the model out of the space of the images.</param>
internal sealed class DicomModel(LoadedSource source, PlanText plan, bool placesElsewhere)
{
    public const string File = "model.dcm";

    private const int StlHeaderBytes = 84;
    private const int StlTriangleBytes = 50;
    private const long LargestBytes = 1 << 30;

    // A scan has no frame of reference that anything else shares.
    private bool IsOfImages => source.Facts.Series is not null;

    /// <summary>What people must know of the file before it is written.</summary>
    public IEnumerable<Finding> Findings(long triangles)
    {
        if (IsOfImages && !Fits(triangles))
            yield return new(FindingCodes.TooLargeForDicom, Severity.Note, $"The model is too large for one DICOM object; there is no {File}.", "Simplify the model if it shall go to an archive.");
        if (source.Archive is not null)
            yield return new(FindingCodes.IdentifiersExported, Severity.Caution, $"{File} holds the patient's name, number and study, because that was asked for.", "Keep this folder as you keep the images, and send the file to the archive only.");
    }

    /// <summary>Wraps model.stl, byte for byte.</summary>
    public void Write(RunFacts facts, string folder)
    {
        if (!IsOfImages || !Fits(facts.Measurements.Mesh.Triangles))
            return;
        var (sourceHash, planHash) = (facts.Source.TreeSha256, facts.Plan.Sha256);
        // Keyed pseudonyms: all models of one study find each other at a site, and nobody finds the study by them.
        var study = source.Archive?.StudyUid ?? DicomUid.From($"study {facts.Source.Pseudonyms?.Study ?? sourceHash}");
        var images = source.Archive is { } archive ? archive.FrameOfReferenceUid : DicomUid.From($"frame {facts.Source.Pseudonyms?.FrameOfReference ?? sourceHash}");
        // A model that was moved must not claim to lie on the images.
        var frame = placesElsewhere || images is null ? DicomUid.From($"frame {sourceHash} {planHash}") : images;
        var mirrored = plan.Plan.Steps.Count(s => s.Name == "mirror") % 2 == 1;
        var description = new EncapsulatedStlDescription(sourceHash, planHash, study, frame, Title(facts), mirrored, source.Archive?.Patient);
        using var stl = System.IO.File.OpenRead(Path.Combine(folder, ModelFiles.Stl));
        using var file = System.IO.File.Create(Path.Combine(folder, File));
        EncapsulatedStl.Write(stl, description, file);
    }

    private static bool Fits(long triangles) => StlHeaderBytes + (StlTriangleBytes * triangles) < LargestBytes;

    private static string Title(RunFacts facts) => $"{facts.Request.Anatomy} ({facts.Plan.Name}), education and planning only";
}
