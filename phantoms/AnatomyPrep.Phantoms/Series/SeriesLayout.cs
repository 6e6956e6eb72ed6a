using AnatomyPrep.Core.Dicom;
using AnatomyPrep.Phantoms.Dicom;

namespace AnatomyPrep.Phantoms.Series;

/// <summary>Which files of a series are written, under which names, and what is done to them before.</summary>
public sealed record SeriesLayout
{
    /// <summary>File names are this and four digits, so that two series fit in one folder.</summary>
    public string NamePrefix { get; init; } = "IMG";

    public SliceOrder NameOrder { get; init; } = SliceOrder.AlongNormal;

    /// <summary>Slices left out, counted along the normal.</summary>
    public IReadOnlyList<int> Omitted { get; init; } = [];

    /// <summary>Slices written a second time, under a name and a SOP Instance UID of their own.</summary>
    public IReadOnlyList<int> Doubled { get; init; } = [];

    /// <summary>Called for every file before it is encoded, with its slice; for <see cref="Damage"/>. May run on any thread.</summary>
    public Action<int, DicomFile>? Change { get; init; }

    /// <summary>Called for every encoded file; what it returns is written. May run on any thread.</summary>
    public Func<int, byte[], byte[]>? ChangeBytes { get; init; }
}
