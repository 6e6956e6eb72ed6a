using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>One file of the input.</summary>
/// <param name="Name">Without the folder, which may carry a patient's name.</param>
internal sealed record InputFile(string Path, string Name, long Bytes);

/// <summary>Lists the files of the input: one file, or a folder with all below it, in an order that no machine changes.</summary>
internal static class SourceFolder
{
    private const int MostFiles = 100_000;
    private const string Source = "the source";

    /// <exception cref="BadInputException">Nothing there, nothing in it, or too much.</exception>
    public static IReadOnlyList<InputFile> List(string path, RunContext run)
    {
        var full = Path.GetFullPath(path);
        if (File.Exists(full))
            return [new InputFile(full, Path.GetFileName(full), new FileInfo(full).Length)];
        if (!Directory.Exists(full))
            throw new BadInputException(Source, "path", "neither a file nor a folder", "Check the spelling.");
        var files = new List<InputFile>();
        try
        {
            // Links to folders are not followed: they may lead round in a circle, or out of the patient's folder.
            var options = new EnumerationOptions { RecurseSubdirectories = true, AttributesToSkip = 0, IgnoreInaccessible = false };
            var all = new System.IO.Enumeration.FileSystemEnumerable<InputFile>(
                full,
                (ref System.IO.Enumeration.FileSystemEntry e) => new InputFile(e.ToFullPath(), e.FileName.ToString(), Length(ref e)),
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

    /// <summary>0 for a link that leads nowhere, and for pipes and devices, which must never be opened.</summary>
    private static long Length(ref System.IO.Enumeration.FileSystemEntry entry)
    {
        if ((entry.Attributes & FileAttributes.ReparsePoint) == 0)
            return entry.Length;
        var target = new FileInfo(entry.ToFullPath()).ResolveLinkTarget(returnFinalTarget: true);
        return target is FileInfo { Exists: true } file ? file.Length : 0;
    }
}
