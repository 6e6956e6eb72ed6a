using System.IO.MemoryMappedFiles;
using AnatomyPrep.Core.Findings;
using Microsoft.Win32.SafeHandles;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>
/// The file through which the child hands over HU: unlinked as soon as it exists, so that no picture of a patient is left
/// on disk however the processes end; the child reaches it through the parent's /proc entry.
/// </summary>
/// <remarks>Costs its size once, as page cache that both processes share. Room on disk is claimed before anything is decoded.</remarks>
internal sealed unsafe class VolumeFile : IDisposable
{
    private readonly SafeFileHandle _file;
    private readonly long _bytes;
    private MemoryMappedFile? _map;
    private MemoryMappedViewAccessor? _view;

    /// <exception cref="BadInputException">No room for it.</exception>
    public VolumeFile(long bytes)
    {
        _bytes = bytes;
        var folder = Directory.CreateTempSubdirectory("anatomyprep-");
        try
        {
            _file = File.OpenHandle(Path.Combine(folder.FullName, "hu"), FileMode.CreateNew, FileAccess.ReadWrite, FileShare.ReadWrite, FileOptions.None, bytes);
            RandomAccess.SetLength(_file, bytes);
        }
        catch (IOException)
        {
            _file?.Dispose();
            throw new BadInputException("acquire", "temporary folder", FormattableString.Invariant($"{bytes / 1e9:F2} GB do not fit"), "Free space there, or set TMPDIR to another folder.");
        }
        finally
        {
            folder.Delete(recursive: true);
        }
    }

    /// <summary>A path that the child can open while this process lives.</summary>
    public string PathForChild => FormattableString.Invariant($"/proc/{Environment.ProcessId}/fd/{_file.DangerousGetHandle()}");

    /// <summary>Maps the finished file, read-only: from here on nobody changes it.</summary>
    public short* Map() => Map(MemoryMappedFileAccess.Read);

    /// <summary>Maps the file for this process to fill.</summary>
    public short* MapToFill() => Map(MemoryMappedFileAccess.ReadWrite);

    public void Dispose()
    {
        if (_view is not null)
        {
            _view.SafeMemoryMappedViewHandle.ReleasePointer();
            _view.Dispose();
        }

        _map?.Dispose();
        _file.Dispose();
    }

    private short* Map(MemoryMappedFileAccess access)
    {
        _map = MemoryMappedFile.CreateFromFile(_file, null, 0, access, HandleInheritability.None, leaveOpen: true);
        _view = _map.CreateViewAccessor(0, _bytes, access);
        byte* at = null;
        _view.SafeMemoryMappedViewHandle.AcquirePointer(ref at);
        return (short*)at;
    }
}
