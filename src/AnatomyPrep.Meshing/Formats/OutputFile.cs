using AnatomyPrep.Core.Findings;
using Microsoft.Win32.SafeHandles;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>Makes a file in one go; whatever stops it, no half-written file stays.</summary>
internal static class OutputFile
{
    /// <param name="bytes">Size of the file, reserved before writing, so that a full disk shows at once.</param>
    /// <exception cref="BadInputException">The place cannot be written to, or has no room.</exception>
    internal static void Write(string path, long bytes, Action<SafeFileHandle> write)
    {
        using var file = Open(path, bytes);
        try
        {
            write(file);
        }
        catch
        {
            file.Dispose();
            File.Delete(path);
            throw;
        }
    }

    private static SafeFileHandle Open(string path, long bytes)
    {
        try
        {
            return File.OpenHandle(path, FileMode.Create, FileAccess.Write, FileShare.None, FileOptions.None, bytes);
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException)
        {
            throw new BadInputException(
                Path.GetFileName(path), "output", "cannot be created", "Give a folder that exists, may be written to and has room for the model.");
        }
    }
}
