namespace AnatomyPrep.Imaging.Pictures;

/// <summary>The line that every picture carries.</summary>
internal static class SafetyLine
{
    internal const string Text = "For education and planning only";
}
