namespace AnatomyPrep.Core.Findings;

/// <summary>The input cannot be used: exit code 3. The message names file, field, value and remedy, never a patient.</summary>
public sealed class BadInputException(string file, string field, string value, string remedy, IReadOnlyList<Finding>? findings = null)
    : Exception($"{file}: {field}: {value}. {remedy}")
{
    /// <summary>File name or step, without the folder it lies in.</summary>
    public string File { get; } = file;

    public string Field { get; } = field;

    public string Value { get; } = value;

    public string Remedy { get; } = remedy;

    public IReadOnlyList<Finding> Findings { get; } = findings ?? [];
}

/// <summary>The plan or the command is wrong: exit code 2.</summary>
public sealed class PlanException(string where, int? line, string parameter, string value, string allowed)
    : Exception($"{where}{(line is null ? "" : $" line {line}")}: {parameter}: {value}. Allowed: {allowed}.")
{
    public string Where { get; } = where;

    public int? Line { get; } = line;

    public string Parameter { get; } = parameter;

    public string Value { get; } = value;

    public string Allowed { get; } = allowed;
}

/// <summary>A check does not hold, or an operation cannot be done: exit code 1; inputs are untouched.</summary>
public sealed class CheckFailedException(string check, string expected, string found)
    : Exception($"{check}: expected {expected}, found {found}.")
{
    public string Check { get; } = check;

    public string Expected { get; } = expected;

    public string Found { get; } = found;
}
