namespace AnatomyPrep.Imaging.Acquire.Grids;

/// <summary>The file with the samples that a header names.</summary>
internal static class SiblingFile
{
    /// <summary>Full path of the named file, which must lie in the folder of the header: a header leads to no other place.</summary>
    /// <exception cref="Core.Findings.BadInputException">It names several files, or another folder, or nothing that is there.</exception>
    public static string Find(string header, string name, string field, GridChecks checks)
    {
        var bare = name.StartsWith("./", StringComparison.Ordinal) ? name[2..] : name;
        if (bare is "LIST" || bare.StartsWith("LIST ", StringComparison.Ordinal) || bare.Contains('%', StringComparison.Ordinal))
            throw checks.Bad(field, "several files", "Save the samples as one file.");
        if (bare.Length is 0 or > 255 || bare is "." or ".." || bare.AsSpan().IndexOfAny('/', '\\', '\0') >= 0 || Path.IsPathRooted(bare))
            throw checks.Bad(field, "names a place outside the header's folder", "Keep both files in one folder, and name the data file without a path.");
        var path = Path.Combine(Path.GetDirectoryName(Path.GetFullPath(header))!, bare);
        return File.Exists(path) ? path : throw checks.Bad(field, "names a file that is not beside the header", "Keep both files in one folder.");
    }
}
