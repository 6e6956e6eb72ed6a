using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>Finds the files that a DICOMDIR names among those that are there.</summary>
/// <remarks>
/// PS3.10 section 8: a file ID is relative to the DICOMDIR. Case, a dot at the end and a version ";1" are not compared: copies from
/// discs (ISO 9660) differ in them. A file ID is only looked up among the listed files, so it can lead nowhere else.
/// </remarks>
internal static class DirectoryListing
{
    /// <param name="directory">The DICOMDIR itself.</param>
    /// <returns>The files named, in the order of <paramref name="files"/>; and the last parts of the names that are not there.</returns>
    public static (IReadOnlyList<InputFile> Found, IReadOnlyList<string> Missing) Resolve(InputFile directory, IReadOnlyList<string> references, IReadOnlyList<InputFile> files)
    {
        var folder = directory.Within[..(directory.Within.LastIndexOf('/') + 1)];
        var byKey = new Dictionary<string, InputFile>(StringComparer.Ordinal);
        foreach (var file in files)
            byKey.TryAdd(Key(file.Within), file);
        var found = new HashSet<InputFile>();
        var missing = new List<string>();
        foreach (var reference in references.Distinct(StringComparer.Ordinal))
        {
            if (reference.Length > 0 && byKey.TryGetValue(Key(folder + reference), out var file) && file != directory)
                found.Add(file);
            else
                missing.Add(reference[(reference.LastIndexOf('/') + 1)..]);
        }

        return ([.. files.Where(found.Contains)], missing);
    }

    public static Finding Missing(IReadOnlyList<string> missing)
    {
        var named = missing.FirstOrDefault(m => m.Length > 0) is { } one ? $", such as {MarkedName.Of(one)}" : ", and its names are none";
        return new(
            FindingCodes.DirectoryFileMissing, Severity.Caution,
            FormattableString.Invariant($"The DICOMDIR names {missing.Count} files that are not there{named}."),
            "Copy the whole disc again; a slice lost at an end of a series cannot be noticed otherwise.");
    }

    private static string Key(string within) => string.Join('/', within.Split('/').Select(p => p.Split(';')[0].TrimEnd('.').ToUpperInvariant()));
}
