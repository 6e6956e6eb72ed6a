namespace AnatomyPrep.Phantoms.Solids;

/// <summary>Slack for conclusions drawn from "a distance changes by at most the way moved".</summary>
internal static class Lipschitz
{
    /// <summary>Far above the rounding of a distance at body size (about 1e-12 mm), far below anything sampled.</summary>
    internal const double RoundingMm = 1e-6;
}
