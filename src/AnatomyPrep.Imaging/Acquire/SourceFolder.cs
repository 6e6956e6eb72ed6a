using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>One file of the input.</summary>
/// <param name="Name">Without the folder, which may carry a patient's name.</param>
/// <param name="Within">Its path within the input, with "/" between folders: what a DICOMDIR names it by.</param>
internal sealed record InputFile(string Path, string Name, long Bytes, string Within);

/// <summary>The files of the input.</summary>
/// <param name="Directory">The DICOMDIR that was given and says which of the files are meant; null where all are.</param>
internal sealed record SourceInput(IReadOnlyList<InputFile> Files, InputFile? Directory = null, IDisposable? Unpacked = null) : IDisposable
{
    public void Dispose() => Unpacked?.Dispose();
}

/// <summary>Lists the files of the input: one file, a folder with all below it, a zip archive, or a DICOMDIR with what lies beside and below it.</summary>
/// <remarks>In an order that no machine changes.</remarks>
internal static class SourceFolder
{
    private const int MostFiles = 100_000;
    private const string Source = "the source";

    /// <exception cref="BadInputException">Nothing there, nothing in it, or too much.</exception>
    public static SourceInput Open(string path, RunContext run)
    {
        var full = Path.GetFullPath(path);
        if (!File.Exists(full))
            return new(List(full, run));
        if (SourceArchive.IsZip(full))
            return SourceArchive.Unpack(full, run);
        if (!IsDirectoryName(full))
            return new([new InputFile(full, Path.GetFileName(full), new FileInfo(full).Length, Path.GetFileName(full))]);
        var beside = List(Path.GetDirectoryName(full)!, run);
        return new(beside, beside.First(f => f.Path == full));
    }

    /// <summary>The name the standard gives it (PS3.10 section 8.6).</summary>
    private static bool IsDirectoryName(string path) => string.Equals(Path.GetFileName(path), "DICOMDIR", StringComparison.OrdinalIgnoreCase);

    private static List<InputFile> List(string full, RunContext run)
    {
        if (!Directory.Exists(full))
            throw new BadInputException(Source, "path", "neither a file nor a folder", "Check the spelling.");
        var files = new List<InputFile>();
        try
        {
            // Links to folders are not followed: they may lead round in a circle, or out of the patient's folder.
            var options = new EnumerationOptions { RecurseSubdirectories = true, AttributesToSkip = 0, IgnoreInaccessible = false };
            var all = new System.IO.Enumeration.FileSystemEnumerable<InputFile>(
                full,
                (ref System.IO.Enumeration.FileSystemEntry e) => Describe(full, ref e),
                options)
            {
                ShouldIncludePredicate = (ref System.IO.Enumeration.FileSystemEntry e) => !e.IsDirectory,
                ShouldRecursePredicate = (ref System.IO.Enumeration.FileSystemEntry e) => (e.Attributes & FileAttributes.ReparsePoint) == 0,
            };
            foreach (var file in all)
            {
                run.ThrowIfCancelled();
                files.Add(file);
                if (files.Count > MostFiles)
                    throw new BadInputException(Source, "files", "more than 100,000", "Give the folder of one study.");
            }
        }
        catch (Exception e) when (e is UnauthorizedAccessException or IOException)
        {
            throw new BadInputException(Source, "folder", "cannot be listed", "Check the permissions of the folder and of those below it.");
        }

        if (files.Count == 0)
            throw new BadInputException(Source, "folder", "empty", "Give the folder that holds a CT series.");
        files.Sort((a, b) => string.CompareOrdinal(a.Path, b.Path));
        return files;
    }

    private static InputFile Describe(string root, ref System.IO.Enumeration.FileSystemEntry entry)
    {
        var path = entry.ToFullPath();
        return new(path, entry.FileName.ToString(), Length(ref entry), Path.GetRelativePath(root, path).Replace(Path.DirectorySeparatorChar, '/'));
    }

    /// <summary>0 for a link that leads nowhere, and for pipes and devices, which must never be opened.</summary>
    private static long Length(ref System.IO.Enumeration.FileSystemEntry entry)
    {
        if ((entry.Attributes & FileAttributes.ReparsePoint) == 0)
            return entry.Length;
        var target = new FileInfo(entry.ToFullPath()).ResolveLinkTarget(returnFinalTarget: true);
        return target is FileInfo { Exists: true } file ? file.Length : 0;
    }
}
