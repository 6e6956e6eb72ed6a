using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Records.Reports;

/// <summary>A picture of the report.</summary>
/// <param name="Caption">What it shows, such as "Section, axial, slice 120".</param>
/// <param name="Png">The encoded picture.</param>
/// <param name="IsLarge">Takes the whole width; others stand two in a row.</param>
public sealed record ReportPicture(string Caption, byte[] Png, bool IsLarge = false);

/// <summary>What a report is made from.</summary>
/// <param name="SignatureRoles">One signature box each, in this order; null for prepared, reviewed, released.</param>
public sealed record ReportContent(
    RunFacts Run,
    IReadOnlyList<ReportPicture> Pictures,
    IReadOnlyList<string>? SignatureRoles = null);
