using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Records.Reports;

/// <summary>A picture of the report.</summary>
/// <param name="Caption">What it shows, such as "Section, axial, slice 120".</param>
/// <param name="Png">The encoded picture.</param>
/// <param name="IsLarge">Takes the whole width; others stand as many in a row as fit.</param>
public sealed record ReportPicture(string Caption, byte[] Png, bool IsLarge = false);

/// <summary>A place to sign.</summary>
/// <param name="Role">Such as "Reviewed".</param>
/// <param name="Meaning">What the person says by signing, as a sentence.</param>
public sealed record SignaturePlace(string Role, string Meaning);

/// <summary>What a report is made from.</summary>
/// <param name="Pictures">The first, when large, stands on the first page.</param>
/// <param name="Signatures">One box each, in this order; null for prepared, reviewed, released.</param>
public sealed record ReportContent(
    RunFacts Run,
    RunCode Code,
    IReadOnlyList<ReportPicture> Pictures,
    IReadOnlyList<SignaturePlace>? Signatures = null);
