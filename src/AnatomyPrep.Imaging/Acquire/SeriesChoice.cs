using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Imaging.Acquire.Fitness;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>Which of several stacks to begin with, and why. Only ever a suggestion: loading never chooses.</summary>
/// <remarks>
/// Rule of our own, one question after the other, until one stack is left: it can be loaded; it covers at least half of the longest stretch; it is no
/// derived picture; it lost nothing to compression; the finest band of thickness (<see cref="ThicknessBands"/>); fewest cautions;
/// a kernel that suits (unless nobody said what for, then this is not asked); thinnest; most slices; then the UID, so that the answer is always the same.
/// </remarks>
internal static class SeriesChoice
{
    /// <returns>Null where there is nothing to choose from.</returns>
    public static SuggestedSeries? Suggest(IReadOnlyList<SeriesFacts> series, string? anatomy)
    {
        SeriesFacts[] usable = [.. series.Where(s => s.IsLoadable)];
        if (series.Count < 2 || usable.Length == 0)
            return null;
        if (usable.Length == 1)
            return new(usable[0].Selector, "the only one that can be loaded");
        var longest = usable.Max(ExtentMm);
        (string Reason, Func<SeriesFacts, double> Cost)[] questions =
        [
            ("it covers most of the scanned stretch", s => ExtentMm(s) >= longest / 2 ? 0 : 1),
            ("it is not derived from other pictures", s => s.Derived ? 1 : 0),
            ("it is not compressed with loss", s => s.Lossy ? 1 : 0),
            ("it is thinner", s => ThicknessBands.Of(CoarsestMm(s))),
            ("it has the fewest cautions", Cautions),
            ("its kernel suits what is asked for", s => KernelCost(s, StructureSize.Of(anatomy))),
            ("it is the thinnest", s => Math.Round(CoarsestMm(s), 2)),
            ("it has the most slices", s => -s.Slices),
        ];
        var left = usable;
        var reasons = new List<string>();
        foreach (var (reason, cost) in questions)
        {
            var least = left.Min(cost);
            SeriesFacts[] kept = [.. left.Where(s => cost(s) == least)];
            if (kept.Length < left.Length)
                reasons.Add(reason);
            left = kept;
        }

        var best = left.OrderBy(s => s.Selector, StringComparer.Ordinal).First();
        if (left.Length > 1)
            reasons.Add(FormattableString.Invariant($"{left.Length} are alike in all that is asked"));
        return new(best.Selector, string.Create(CultureInfo.InvariantCulture, $"{string.Join("; ", reasons)} ({CoarsestMm(best):0.###} mm, {Cautions(best)} cautions, kernel {best.Kernel ?? "not stated"})"));
    }

    private static double KernelCost(SeriesFacts s, StructureSize? structure) => (structure?.Bone, KernelKinds.Of(s.Kernel)) switch
    {
        (null, _) or (true, KernelKind.Sharp) or (false, KernelKind.Soft) => 0,
        (true, KernelKind.Soft) or (false, KernelKind.Sharp) => 2,
        _ => 1,
    };

    /// <summary>Thickness or step, whichever is more.</summary>
    private static double CoarsestMm(SeriesFacts s) => Math.Max(s.SliceThicknessMm ?? 0, s.SliceSpacingMm ?? 0);

    private static double ExtentMm(SeriesFacts s) => s.ExtentAlongNormalMm is { } e ? e[1] - e[0] : 0;

    private static double Cautions(SeriesFacts s) => s.Findings.Count(f => f.Severity == Severity.Caution);
}
