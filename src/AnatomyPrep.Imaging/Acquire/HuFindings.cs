using System.Globalization;
using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>What the sample counts of a stack say about its HU.</summary>
/// <remarks>
/// 3071 HU is where a 12-bit scale with slope 1 and intercept -1024 ends; scanners cut metal off there also when they
/// store more bits. Air is -1000 HU, and padding is expected below it: padding above -950 would be taken for tissue.
/// </remarks>
internal static class HuFindings
{
    private const short TopOfTwelveBits = 3071;
    private const short PaddingLooksLikeTissue = -950;

    /// <param name="slices">Name and counts per slice, in slice order; null where decoding failed.</param>
    public static IEnumerable<Finding> Describe(IReadOnlyList<(string Name, SliceCounts? Counts)> slices)
    {
        var counted = slices.Select((s, k) => (s.Name, Counts: s.Counts!, Slice: k)).Where(s => s.Counts is not null).ToArray();
        if (counted.Length == 0)
            yield break;
        var rounding = counted.MaxBy(s => s.Counts.LargestRoundingHu);
        if (rounding.Counts.LargestRoundingHu > 0)
            yield return new(FindingCodes.HuRounded, Severity.Note, Text($"{rounding.Name}: slope and intercept are not whole numbers; HU are rounded, by at most {rounding.Counts.LargestRoundingHu:F3}."), "None needed.", new(Slice: rounding.Slice));
        if (Sum(counted, c => c.Clamped) is { Count: > 0 } clamped)
            yield return new(FindingCodes.HuOutOfRange, Severity.Caution, Text($"{clamped.Name}: {clamped.Count} samples lie outside -32768 to 32767 HU and were set to the nearest end."), "Check the rescale of the series; such values are no anatomy.", new(Slice: clamped.Slice));
        if (Clipped(counted) is { } clipped)
            yield return clipped;
        if (Sum(counted, c => c.Padded) is { Count: > 0 } padded)
            yield return Padding(counted, padded);
        if (Sum(counted, c => c.WithUnusedBits) is { Count: > 0 } unused)
            yield return new(FindingCodes.UnusedBits, Severity.Note, Text($"{unused.Name}: {unused.Count} samples have bits set outside Bits Stored (0028,0101); those bits are ignored."), "None needed.", new(Slice: unused.Slice));
    }

    private static Finding? Clipped((string Name, SliceCounts Counts, int Slice)[] counted)
    {
        var max = counted.Max(s => s.Counts.MaxHu);
        var atTop = max == TopOfTwelveBits ? Sum(counted, c => c.At3071) : Sum(counted, c => c.MaxHu == max ? c.AtTop : 0);
        return atTop.Count == 0
            ? null
            : new(FindingCodes.HuClipped, Severity.Caution, Text($"{atTop.Name}: {atTop.Count} samples stand at {max} HU, where the scale ends: metal or enamel is cut off, limit 0 (a scale of 12 bits ends at 3071 HU: reference values)."), "Keep thresholds below it, and look for streaks around metal.", new(Slice: atTop.Slice));
    }

    private static Finding Padding((string Name, SliceCounts Counts, int Slice)[] counted, (string Name, int Slice, long Count) padded)
    {
        var highest = counted.Where(s => s.Counts.MaxPaddedHu is not null).Max(s => s.Counts.MaxPaddedHu!.Value);
        var tissue = highest > PaddingLooksLikeTissue;
        return new(
            FindingCodes.Padding,
            tissue ? Severity.Caution : Severity.Note,
            Text($"{padded.Name}: {padded.Count} samples carry the padding value (0028,0120), {highest} HU: no data, outside the field of view."),
            tissue ? "This value looks like tissue: crop it away before a threshold." : "None needed: it lies below air.",
            new(Slice: padded.Slice));
    }

    /// <summary>Total over the stack, and the slice with the most.</summary>
    private static (string Name, int Slice, long Count) Sum((string Name, SliceCounts Counts, int Slice)[] counted, Func<SliceCounts, long> of)
    {
        var most = counted.MaxBy(s => of(s.Counts));
        return (most.Name, most.Slice, counted.Sum(s => of(s.Counts)));
    }

    private static string Text(FormattableString text) => text.ToString(CultureInfo.InvariantCulture);
}
