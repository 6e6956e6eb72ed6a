namespace AnatomyPrep.Imaging.Acquire;

/// <summary>A gap between neighbouring slices that is too wide to be meant.</summary>
/// <param name="After">Index of the slice below the gap.</param>
/// <param name="ExpectedMm">What the spacing around it makes one expect.</param>
internal readonly record struct MissingGap(int After, double FoundMm, double ExpectedMm)
{
    public int MissingSlices => Math.Max(1, (int)Math.Round(FoundMm / ExpectedMm) - 1);
}

/// <summary>Tells "a slice is missing" from "this protocol has uneven slices".</summary>
/// <remarks>
/// Rule of our own. A missing slice makes one step of two spacings, so a step up to 1.5 times the expected one is nearer
/// to one slice than to two, and only a wider one is suspect. What to expect comes from the series itself:
/// 1. Neighbouring steps within a factor of 1.5 of each other form a run; a run of three or more steps (four slices) is
///    a block: a spacing somebody chose.
/// 2. A step of a block is meant. A step in a shorter run is compared with the wider of the nearest blocks on its two
///    sides, or, where the series has no block, with its narrowest run. Wider by more than 1.5 is suspect.
/// 3. A block of whole-number multiples (2, 3 …) of the finest block whose Instance Numbers jump by the same multiple
///    is a stretch where slices were lost regularly: suspect.
/// 4. Where every slice states its thickness, the same is asked of the steps measured in thicknesses (step / mean
///    thickness of the two slices): a protocol that widens its steps widens its slices too, a lost slice does not. A
///    step that is wide only in mm, or only in thicknesses, is meant.
/// Cannot see: slices lost at either end, every second slice lost throughout, fewer than three slices.
/// Why not "a multiple of the median": it refuses a true protocol of 3 and 6 mm and accepts 7.4 mm in a 4 mm
/// series. Derivation and examples: docs/methods/acquire.md.
/// </remarks>
internal static class SpacingRule
{
    private const double NearerToTwo = 1.5;
    private const int BlockSteps = 3;

    /// <summary>Steps differ by no more than this (or <see cref="EvenShare"/> of the median) in an even series.</summary>
    public const double EvenMm = 0.01;

    public const double EvenShare = 0.01;

    public static bool IsEven(IReadOnlyList<double> stepsMm)
    {
        var median = Median(stepsMm);
        var tolerance = Math.Max(EvenMm, EvenShare * median);
        return stepsMm.All(s => Math.Abs(s - median) <= tolerance);
    }

    /// <param name="stepsMm">Between neighbouring slices along the normal; all positive.</param>
    /// <param name="thicknessMm">Per slice; null where not stated.</param>
    /// <param name="instanceNumbers">Per slice; null where not stated.</param>
    public static IReadOnlyList<MissingGap> FindMissing(IReadOnlyList<double> stepsMm, IReadOnlyList<double?> thicknessMm, IReadOnlyList<int?> instanceNumbers)
    {
        if (stepsMm.Count == 0)
            return [];
        var inMm = FindWide([.. stepsMm], instanceNumbers);
        if (inMm.Count == 0 || !thicknessMm.All(t => t > 0))
            return inMm;
        double[] inThicknesses = [.. stepsMm.Select((s, i) => s / ((thicknessMm[i]!.Value + thicknessMm[i + 1]!.Value) / 2))];
        var alsoWide = FindWide(inThicknesses, instanceNumbers).Select(g => g.After).ToHashSet();
        return [.. inMm.Where(g => alsoWide.Contains(g.After))];
    }

    private static List<MissingGap> FindWide(double[] steps, IReadOnlyList<int?> instanceNumbers)
    {
        var runs = Cut(steps);
        var finest = runs.Where(r => r.IsBlock).Select(r => (Run?)r).MinBy(r => r!.Value.Level);
        var beside = LevelsBeside(runs);
        var gaps = new List<MissingGap>();
        for (var r = 0; r < runs.Count; r++)
        {
            var run = runs[r];
            var expected = run.IsBlock ? ExpectedInBlock(run, finest!.Value, instanceNumbers) : beside[r];
            for (var i = run.Start; i < run.End; i++)
                if (steps[i] > NearerToTwo * expected)
                    gaps.Add(new(i, steps[i], expected));
        }

        return gaps;
    }

    public static double Median(IReadOnlyList<double> values)
    {
        var sorted = values.Order().ToArray();
        var half = sorted.Length / 2;
        return sorted.Length % 2 == 1 ? sorted[half] : (sorted[half - 1] + sorted[half]) / 2;
    }

    private static List<Run> Cut(double[] steps)
    {
        var runs = new List<Run>();
        var start = 0;
        double low = steps[0], high = steps[0];
        for (var i = 1; i <= steps.Length; i++)
        {
            if (i < steps.Length && Math.Max(high, steps[i]) <= NearerToTwo * Math.Min(low, steps[i]))
            {
                (low, high) = (Math.Min(low, steps[i]), Math.Max(high, steps[i]));
                continue;
            }

            runs.Add(new(start, i, Median(steps[start..i])));
            if (i < steps.Length)
                (start, low, high) = (i, steps[i], steps[i]);
        }

        return runs;
    }

    /// <summary>Per run: the wider of the nearest blocks on both sides; the narrowest run where there is no block.</summary>
    private static double[] LevelsBeside(List<Run> runs)
    {
        var levels = new double[runs.Count];
        if (!runs.Any(r => r.IsBlock))
        {
            Array.Fill(levels, runs.Min(r => r.Level));
            return levels;
        }

        double before = 0, after = 0;
        for (var r = 0; r < runs.Count; r++)
        {
            before = runs[r].IsBlock ? runs[r].Level : before;
            levels[r] = before;
        }

        for (var r = runs.Count - 1; r >= 0; r--)
        {
            after = runs[r].IsBlock ? runs[r].Level : after;
            levels[r] = Math.Max(levels[r], after);
        }

        return levels;
    }

    private static double ExpectedInBlock(Run block, Run finest, IReadOnlyList<int?> numbers)
    {
        var multiple = (int)Math.Round(block.Level / finest.Level);
        if (multiple < 2 || Math.Abs((block.Level / finest.Level) - multiple) > 0.05 * multiple)
            return block.Level;
        return NumberStep(block, numbers) is { } wide && NumberStep(finest, numbers) is { } fine && wide == multiple * fine
            ? finest.Level
            : block.Level;
    }

    /// <summary>The one distance between the Instance Numbers of neighbouring slices in a block; null when they differ.</summary>
    private static int? NumberStep(Run block, IReadOnlyList<int?> numbers)
    {
        int? step = null;
        for (var i = block.Start; i < block.End; i++)
        {
            if (numbers[i] is not { } a || numbers[i + 1] is not { } b || a == b)
                return null;
            var here = (int)Math.Min(int.MaxValue, Math.Abs((long)b - a));
            if (step is not null && step != here)
                return null;
            step = here;
        }

        return step;
    }

    /// <param name="Start">First step.</param>
    /// <param name="End">One past the last step.</param>
    /// <param name="Level">Median step.</param>
    private readonly record struct Run(int Start, int End, double Level)
    {
        public bool IsBlock => End - Start >= BlockSteps;
    }
}
