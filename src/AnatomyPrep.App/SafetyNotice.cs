namespace AnatomyPrep.App;

/// <summary>The words that stand on everything we make.</summary>
internal static class SafetyNotice
{
    public const string Text =
        "For education and planning only. Not for diagnosis or treatment, not sterile, not for implantation. " +
        "Clinical and regulatory practice at the site decides.";
}
