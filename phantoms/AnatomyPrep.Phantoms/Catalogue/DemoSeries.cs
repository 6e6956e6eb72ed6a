using AnatomyPrep.Core.Running;
using AnatomyPrep.Phantoms.Series;

namespace AnatomyPrep.Phantoms.Catalogue;

/// <summary>The series of the demonstration: a teaching skull with mild noise, on disk, with its truth beside it.</summary>
public static class DemoSeries
{
    public const string PhantomName = "teaching-skull";

    /// <summary>Writes FOLDER/ct/*.dcm and FOLDER/truth.json.</summary>
    /// <exception cref="OperationCanceledException">Asked once per slice; no file is left.</exception>
    public static WrittenPhantom Write(string folder, RunContext run) => PhantomCatalogue.Create(PhantomName).WriteWithTruth(folder, run);
}
