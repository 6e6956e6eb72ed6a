using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>Slices that could be one volume: same study, series and orientation.</summary>
/// <param name="Selector">Series UID, with the number of the stack where the series has several.</param>
/// <param name="Scattered">Every slice of the series has its own orientation.</param>
/// <param name="Part">How it was told apart from other stacks of its series; null where it is the only one of its orientation.</param>
internal sealed record SliceStack(string Selector, IReadOnlyList<SliceSource> Slices, bool Scattered = false, StackPart? Part = null)
{
    public FileFacts Facts => Slices[0].Facts;
}

/// <summary>A file that goes into no stack.</summary>
internal sealed record Skipped(string Name, Fault Fault)
{
    public SkippedFile ToPublic() => new(MarkedName.Plain(Name), Fault.Code, MarkedName.Plain(Fault.Field == "file" ? Fault.Value : $"{Fault.Field}: {Fault.Value}"));
}

/// <summary>Sorts files into stacks of slices, and names the reason for each file that goes into none.</summary>
/// <remarks>
/// A stack is one study, one series, one orientation, and one acquisition and reconstruction (<see cref="StackSplit"/>). Frame of reference, matrix and pixel spacing do not split a series:
/// where they differ, something is wrong that a person must see, so <see cref="StackCheck"/> stops. Orientation does
/// split, because a series may hold reformatted pictures beside the axial ones; a single picture in another orientation
/// than the rest is the overview picture that some exports leave unmarked. The result does not depend on names.
/// </remarks>
internal static class SeriesSorter
{
    /// <summary>A series with more than this is no set of stacks (and would take long to compare).</summary>
    private const int MostOrientations = 64;

    public static (IReadOnlyList<SliceStack> Stacks, IReadOnlyList<Skipped> Skipped) Sort(IReadOnlyList<ScannedFile> files)
    {
        var skipped = new List<(int Index, Skipped File)>();
        var slices = new List<SliceSource>();
        foreach (var file in files)
        {
            if (Reason(file) is { } reason)
                skipped.Add((file.Index, reason));
            else
                slices.AddRange(Enumerable.Range(0, file.Scan.Ct!.Slices.Count).Select(f => new SliceSource(file, f)));
        }

        var stacks = new List<SliceStack>();
        foreach (var series in slices.GroupBy(s => (s.Facts.Study, s.Facts.Series)).OrderBy(g => g.Key.Series, StringComparer.Ordinal).ThenBy(g => g.Key.Study, StringComparer.Ordinal))
        {
            var (found, overviews) = Split([.. Ordered(series)], series.Key.Series);
            stacks.AddRange(found);
            skipped.AddRange(overviews.Select(o => (o.File.Index, Overview(o.File.Name, Tag.ImageOrientation, "a single picture in another orientation than the rest of its series"))));
        }

        return (stacks, [.. skipped.OrderBy(s => s.Index).Select(s => s.File)]);
    }

    private static IEnumerable<SliceSource> Ordered(IEnumerable<SliceSource> slices) => slices
        .OrderBy(s => s.Facts.SopInstance, StringComparer.Ordinal)
        .ThenBy(s => s.Frame)
        .ThenBy(s => s.File.Name, StringComparer.Ordinal)
        .ThenBy(s => s.File.Index);

    private static Skipped? Reason(ScannedFile file)
    {
        if (file.Scan.Ct is not { } ct)
            return new Skipped(file.Name, file.Scan.Fault!);
        if (ct.Localizer)
            return Overview(file.Name, Tag.ImageType, "an overview picture (LOCALIZER), not a slice");
        return ct.Slices.Count == 0 ? new Skipped(file.Name, file.Scan.Fault!) : null;
    }

    private static Skipped Overview(string name, uint tag, string value) =>
        new(name, new Fault(FindingCodes.Localizer, Tag.Name(tag), value, "Give the folder of a CT series."));

    private static (IReadOnlyList<SliceStack> Stacks, IReadOnlyList<SliceSource> Overviews) Split(SliceSource[] series, string uid)
    {
        // Without full geometry there is nothing to split by; the check names what is missing.
        if (series.Any(s => s.Slice.Orientation is null || s.Slice.Position is null || s.Slice.PixelSpacing is null || s.File.Scan.Fault is not null))
            return ([new SliceStack(uid, series)], []);
        var clusters = new List<List<SliceSource>>();
        foreach (var slice in series)
        {
            if (clusters.Count > MostOrientations)
                return ([new SliceStack(uid, series, Scattered: true)], []);
            var cluster = clusters.FirstOrDefault(c => StackGeometry.SameOrientation(c[0].Slice.Orientation!, slice.Slice.Orientation!));
            if (cluster is null)
                clusters.Add([slice]);
            else
                cluster.Add(slice);
        }

        if (clusters.Count > 1 && clusters.All(c => c.Count == 1))
            return ([new SliceStack(uid, series, Scattered: true)], []);
        List<SliceSource>[] overviews = clusters.Count == 1 ? [] : [.. clusters.Where(c => c.Count == 1)];
        var parts = clusters.Except(overviews).OrderByDescending(c => c.Count).SelectMany(StackSplit.Split).ToArray();
        return (
            [.. parts.Select((p, i) => new SliceStack(parts.Length == 1 ? uid : FormattableString.Invariant($"{uid}#{i + 1}"), p.Slices, Part: p.How is null ? null : p))],
            [.. overviews.Select(c => c[0])]);
    }
}
