using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>The files of a source as they lie: a folder or a file as it is, a zip archive unpacked into a folder that goes with this.</summary>
public sealed class UnpackedSource : IDisposable
{
    private readonly SourceInput? _unpacked;

    private UnpackedSource(string path, SourceInput? unpacked) => (Path, _unpacked) = (path, unpacked);

    /// <summary>A folder, or one file.</summary>
    public string Path { get; }

    /// <exception cref="BadInputException">There is nothing, or the archive is broken, hostile, empty or too large.</exception>
    public static UnpackedSource Open(string path, RunContext run)
    {
        if (!File.Exists(path))
            return Directory.Exists(path) ? new(path, null) : throw new BadInputException("the source", "path", "neither a file nor a folder", "Check the spelling.");
        if (!SourceArchive.IsZip(path))
            return new(path, null);
        var unpacked = SourceArchive.Unpack(path, run);
        return new(((SourceArchive)unpacked.Unpacked!).Folder, unpacked);
    }

    public void Dispose() => _unpacked?.Dispose();
}
