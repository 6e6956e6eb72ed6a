using System.IO.MemoryMappedFiles;
using AnatomyPrep.Core.Findings;
using Microsoft.Win32.SafeHandles;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>
/// The file through which the child hands over HU: unlinked as soon as it exists, so that no picture of a patient is left
/// on disk however the processes end; the child reaches it through the parent's /proc entry.
/// </summary>
/// <remarks>
/// Costs its size once, as memory that both processes share: in shared memory up to a quarter of the machine's where there is room, else as page cache of a file in
/// the temporary folder, so that a volume may be larger than the memory. Room is claimed before anything is decoded.
/// </remarks>
internal sealed unsafe class VolumeFile : IDisposable
{
    private const string SharedMemory = "/dev/shm";

    // Beside the volume there are its regions, a second volume where a filter makes one, and the mesh.
    private const int ShareOfMachine = 4;
    private const UnixFileMode OwnerOnly = UnixFileMode.UserRead | UnixFileMode.UserWrite | UnixFileMode.UserExecute;

    private readonly SafeFileHandle _file;
    private readonly long _bytes;
    private MemoryMappedFile? _map;
    private MemoryMappedViewAccessor? _view;

    /// <exception cref="BadInputException">No room for it.</exception>
    public VolumeFile(long bytes)
    {
        _bytes = bytes;
        _file = InSharedMemory(bytes) ?? InTemporaryFolder(bytes) ?? throw new BadInputException(
            "acquire", "temporary folder", FormattableString.Invariant($"{bytes / 1e9:F2} GB do not fit"), "Free space there, or set TMPDIR to another folder.");
    }

    /// <summary>Whether a volume of this size leaves the machine room for the rest of the work.</summary>
    public static bool FitsMemory(long bytes) => bytes <= GC.GetGCMemoryInfo().TotalAvailableMemoryBytes / ShareOfMachine;

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

    // Pictures that fit need not go to a disk at all, and are written several times faster.
    private static SafeFileHandle? InSharedMemory(long bytes)
    {
        if (!OperatingSystem.IsLinux() || !FitsMemory(bytes) || !Directory.Exists(SharedMemory))
            return null;
        try
        {
            return Create(Directory.CreateDirectory(Path.Combine(SharedMemory, Path.GetRandomFileName()), OwnerOnly), bytes);
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException)
        {
            // A system may keep it closed; then there still is the temporary folder.
            return null;
        }
    }

    private static SafeFileHandle? InTemporaryFolder(long bytes) => Create(Directory.CreateTempSubdirectory("anatomyprep-"), bytes);

    private static SafeFileHandle? Create(DirectoryInfo folder, long bytes)
    {
        SafeFileHandle? file = null;
        try
        {
            file = File.OpenHandle(Path.Combine(folder.FullName, "hu"), FileMode.CreateNew, FileAccess.ReadWrite, FileShare.ReadWrite, FileOptions.None, bytes);
            RandomAccess.SetLength(file, bytes);
            return file;
        }
        catch (IOException)
        {
            file?.Dispose();
            return null;
        }
        finally
        {
            folder.Delete(recursive: true);
        }
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
