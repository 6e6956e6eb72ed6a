using AnatomyPrep.Core.Findings;
using AnatomyPrep.Meshing.Formats;

namespace AnatomyPrep.App.Pipeline;

/// <summary>What to read, and what is known of it beforehand.</summary>
/// <param name="Path">Folder or file of images, or a file of a mesh or of points.</param>
/// <param name="SeriesUid">Which series, where there are several.</param>
/// <param name="Unit">Of meshes and points whose file states none.</param>
/// <param name="Anatomy">What it shows; the size of a scan is then judged.</param>
/// <param name="Parts">Further meshes: the plan's name for each, and its file.</param>
/// <param name="Identify">Also read the true identifiers, for the model's DICOM file and nothing else.</param>
/// <param name="PatientId">Whose images they must be; compared as a pseudonym and kept nowhere.</param>
internal sealed record SourceRequest(
    string Path,
    string? SeriesUid = null,
    LengthUnit? Unit = null,
    string? Anatomy = null,
    IReadOnlyDictionary<string, string>? Parts = null,
    string? PatientId = null,
    bool Identify = false)
{
    private const int LongestName = 40;

    /// <summary>Reads NAME=FILE, as given on the command line.</summary>
    /// <exception cref="PlanException">Not of that form, or a name twice.</exception>
    public static IReadOnlyDictionary<string, string> ReadParts(IEnumerable<string> given)
    {
        var parts = new SortedDictionary<string, string>(StringComparer.Ordinal);
        foreach (var text in given)
        {
            var at = text.IndexOf('=', StringComparison.Ordinal);
            var name = at > 0 ? text[..at] : "";
            if (name.Length is 0 or > LongestName || !name.All(c => char.IsAsciiLetterOrDigit(c) || c is '-' or '_') || at + 1 == text.Length)
                throw new PlanException("command", null, "--part", text, "NAME=FILE, the name in letters, digits, - and _");
            if (!parts.TryAdd(name, text[(at + 1)..]))
                throw new PlanException("command", null, "--part", name, "every name once");
        }

        return parts;
    }
}
