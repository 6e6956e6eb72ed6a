using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>What is wrong with one file or series, before it is known whether it ends the run.</summary>
/// <param name="Code">From <see cref="FindingCodes"/>.</param>
/// <param name="Field">Attribute name with its number, or a part of the file.</param>
internal sealed record Fault(string Code, string Field, string Value, string Remedy)
{
    /// <summary>One sentence: file, field, value.</summary>
    public Finding ToFinding(Severity severity, string file, Place? place = null) =>
        new(Code, severity, $"{file}: {Field}: {Value}.", Remedy, place);

    public BadInputException ToException(string file, IReadOnlyList<Finding>? findings = null) =>
        new(file, Field, Value, Remedy, findings);
}
