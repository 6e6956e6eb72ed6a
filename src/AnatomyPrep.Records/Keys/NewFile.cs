using System.Runtime.InteropServices;

namespace AnatomyPrep.Records.Keys;

/// <summary>A file that appears whole under its name, and never in the place of another.</summary>
/// <remarks>
/// Written aside, flushed to disk, then given its name by link(2), which never replaces; where the file system has no links, as on many sticks and
/// shares, by renameat2(2) with RENAME_NOREPLACE. A move of the runtime's looks first and moves then, and two may look at once.
/// </remarks>
internal static partial class NewFile
{
    private const int NotPermitted = 1;
    private const int Exists = 17;
    private const int NotSupported = 95;
    private const int CurrentFolder = -100;
    private const uint NoReplace = 1;

    /// <summary>False, and all is as it was, when the name is taken.</summary>
    /// <param name="mode">Null for what the system gives to new files.</param>
    internal static bool Write(string path, Action<FileStream> write, UnixFileMode? mode = null)
    {
        var aside = $"{path}.{Guid.NewGuid():N}.new";
        try
        {
            var options = new FileStreamOptions { Mode = FileMode.CreateNew, Access = FileAccess.Write };
            if (!OperatingSystem.IsWindows())
                options.UnixCreateMode = mode;
            using (var file = new FileStream(aside, options))
            {
                write(file);
                file.Flush(flushToDisk: true);
            }

            return Name(aside, path);
        }
        finally
        {
            File.Delete(aside);
        }
    }

    private static bool Name(string aside, string path)
    {
        var error = Link(aside, path) == 0 ? 0 : Marshal.GetLastPInvokeError();
        if (error is NotPermitted or NotSupported)
            error = Rename(CurrentFolder, aside, CurrentFolder, path, NoReplace) == 0 ? 0 : Marshal.GetLastPInvokeError();
        return error switch
        {
            0 => true,
            Exists => false,
            _ => throw new IOException(FormattableString.Invariant($"The file {Path.GetFileName(path)} cannot be made: error {error}.")),
        };
    }

    [LibraryImport("libc", EntryPoint = "link", SetLastError = true, StringMarshalling = StringMarshalling.Utf8)]
    [DefaultDllImportSearchPaths(DllImportSearchPath.SafeDirectories)]
    private static partial int Link(string existing, string added);

    [LibraryImport("libc", EntryPoint = "renameat2", SetLastError = true, StringMarshalling = StringMarshalling.Utf8)]
    [DefaultDllImportSearchPaths(DllImportSearchPath.SafeDirectories)]
    private static partial int Rename(int fromFolder, string from, int toFolder, string to, uint flags);
}
