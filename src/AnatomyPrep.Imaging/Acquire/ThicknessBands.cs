using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>How fit slices are by their thickness or distance: bands at 1.25, 2 and 3 mm (our own; common practice for models is 0.5 to 1.25 mm).</summary>
internal static class ThicknessBands
{
    private static readonly double[] s_endsMm = [1.25, 2.0, 3.0];

    /// <summary>0 for the finest band to 3 for the coarsest.</summary>
    public static int Of(double coarsestMm) => s_endsMm.Count(end => coarsestMm > end + SpacingRule.EvenMm);

    /// <param name="coarsestMm">Thickness or step, whichever is more.</param>
    public static Finding? Describe(double coarsestMm)
    {
        var (severity, remedy) = Of(coarsestMm) switch
        {
            3 => (Severity.Caution, "Do not use it for planning: ask for a thinner reconstruction, 0.5 to 1.25 mm."),
            2 => (Severity.Caution, "Ask for a thinner reconstruction, 0.5 to 1.25 mm."),
            _ => (Severity.Note, "A reconstruction of 0.5 to 1.25 mm shows thin bone better."),
        };
        return Of(coarsestMm) == 0
            ? null
            : new(FindingCodes.ThickSlices, severity, FormattableString.Invariant($"Slices are up to {coarsestMm:F3} mm thick or apart, limit {s_endsMm[0]} mm (common practice, no source)."), remedy);
    }
}
