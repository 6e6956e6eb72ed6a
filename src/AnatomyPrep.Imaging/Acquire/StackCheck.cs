using System.Globalization;
using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>Something that keeps a stack from being a volume: a stop.</summary>
/// <param name="File">Name of the file or files it shows in.</param>
internal sealed record Stop(string File, Fault Fault, Place? Place = null)
{
    public Finding ToFinding() => Fault.ToFinding(Severity.Stop, File, Place);
}

/// <summary>What the headers of a stack say: where its slices lie, what forbids using it, what one should know.</summary>
/// <param name="Geometry">Null where a stop makes geometry meaningless.</param>
internal sealed record CheckedStack(SliceStack Stack, StackGeometry? Geometry, IReadOnlyList<Stop> Stops, IReadOnlyList<Finding> Findings)
{
    /// <summary>In order along the normal where there is one.</summary>
    public IReadOnlyList<SliceSource> Slices => Geometry?.Slices ?? Stack.Slices;
}

/// <summary>Checks a stack by its headers alone. Nothing is repaired silently, nothing is guessed.</summary>
/// <remarks>Rules and their sources: docs/methods/acquire.md; words of each code: docs/formats/findings.md.</remarks>
internal static class StackCheck
{
    private const string NoGuess = "Send the series again with its geometry, or use another reconstruction.";
    private const string OneSeries = "Keep one consistent series in the folder, or send it again.";
    private const double EvenMm = SpacingRule.EvenMm;
    private const double ExactCosines = 1e-4;
    private const double SameSpacingShare = 1e-4;
    private const double SamePlaceMm = 0.001;
    private const double WrittenDecimalMm = 0.1;
    private const double TiltNoteDeg = 0.05;
    private const double TiltTagToleranceDeg = 0.5;
    private const double ThicknessShare = 1.1;

    public static CheckedStack Check(SliceStack stack)
    {
        var stops = new List<Stop>();
        CheckFiles(stack, stops);
        CheckAttributes(stack, stops);
        CheckUniform(stack, stops);
        var geometry = stops.Any(s => s.Fault.Code is FindingCodes.SpacingMissing or FindingCodes.OrientationMissing or FindingCodes.PositionMissing or FindingCodes.OrientationInvalid or FindingCodes.MixedOrientations)
            ? null
            : StackGeometry.Of(stack.Slices);
        if (stack.Slices.Count < 2)
            stops.Add(new(stack.Slices[0].Name, new(FindingCodes.TooFewSlices, "slices", "1", "A volume needs at least two: give the folder of the whole series.")));
        var findings = new List<Finding>();
        if (geometry is not null)
        {
            CheckSpacing(geometry, stops, findings);
            DescribeGeometry(geometry, findings);
        }

        DescribeFiles(stack, findings);
        DescribePart(stack, findings);
        return new CheckedStack(stack, geometry, stops, findings);
    }

    private static void CheckFiles(SliceStack stack, List<Stop> stops)
    {
        foreach (var file in stack.Slices.Select(s => s.File).DistinctBy(f => f.Index))
            if (file.Scan.Fault is { } fault)
                stops.Add(new(file.Name, fault));
        var first = stack.Slices[0];
        if (stack.Slices.FirstOrDefault(s => s.Facts.PatientMark != first.Facts.PatientMark) is { } other)
            stops.Add(new(Pair(first, other), new(FindingCodes.MixedPatients, Tag.Name(Tag.PatientId), "two different ones in one series", "Sort out whose pictures these are before anything is made from them.")));
    }

    private static void CheckAttributes(SliceStack stack, List<Stop> stops)
    {
        Require(stack, stops, s => s.Slice.PixelSpacing is [> 0, > 0], FindingCodes.SpacingMissing, Tag.PixelSpacing);
        Require(stack, stops, s => s.Slice.Orientation is not null, FindingCodes.OrientationMissing, Tag.ImageOrientation);
        Require(stack, stops, s => s.Slice.Position is not null, FindingCodes.PositionMissing, Tag.ImagePosition);
        if (stack.Slices.FirstOrDefault(s => s.Slice.Orientation is { } o && StackGeometry.Deviation(o) > StackGeometry.WorstInexactness) is { } crooked)
            stops.Add(new(crooked.Name, new(FindingCodes.OrientationInvalid, Tag.Name(Tag.ImageOrientation), "not two directions at a right angle", NoGuess)));
        Require(stack, stops, s => s.Slice is { Slope: not (null or 0), Intercept: not null }, FindingCodes.RescaleMissing, Tag.RescaleSlope, "missing, malformed or zero, or without Rescale Intercept (0028,1052)", "Ask for the series with its HU scale.");
        if (stack.Slices.FirstOrDefault(s => s.Slice.RescaleType is not ("HU" or "US" or "HU_MOD" or "other")) is { } unit)
            stops.Add(new(unit.Name, new(FindingCodes.RescaleNotHu, Tag.Name(Tag.RescaleType), $"{unit.Slice.RescaleType}, not HU", "Give the reconstruction in HU.")));
        if (stack.Scattered)
            stops.Add(new(Pair(stack.Slices[0], stack.Slices[1]), new(FindingCodes.MixedOrientations, Tag.Name(Tag.ImageOrientation), "differs from slice to slice", OneSeries)));
    }

    private static void Require(SliceStack stack, List<Stop> stops, Func<SliceSource, bool> holds, string code, uint tag, string value = "missing or malformed", string remedy = NoGuess)
    {
        // A file that broke before this attribute is already named for that.
        if (stack.Slices.FirstOrDefault(s => s.File.Scan.Fault is null && !holds(s)) is { } bad)
            stops.Add(new(bad.Name, new(code, Tag.Name(tag), value, remedy)));
        else if (stack.Slices.FirstOrDefault(s => !holds(s)) is { } broken)
            stops.Add(new(broken.Name, new(code, Tag.Name(tag), "not reached", remedy)));
    }

    private static void CheckUniform(SliceStack stack, List<Stop> stops)
    {
        var first = stack.Slices[0];
        if (stack.Slices.FirstOrDefault(s => s.Facts.FrameOfReference != first.Facts.FrameOfReference) is { } frame)
            stops.Add(new(Pair(first, frame), new(FindingCodes.MixedFrames, Tag.Name(Tag.FrameOfReferenceUid), "two different ones in one series", OneSeries)));
        if (stack.Slices.FirstOrDefault(s => (s.Facts.Rows, s.Facts.Columns) != (first.Facts.Rows, first.Facts.Columns)) is { } size)
            stops.Add(new(Pair(first, size), new(FindingCodes.MixedSizes, $"{Tag.Name(Tag.Rows)} x {Tag.Name(Tag.Columns)}", Text($"{first.Facts.Rows} x {first.Facts.Columns} and {size.Facts.Rows} x {size.Facts.Columns}"), OneSeries)));
        if (first.Slice.PixelSpacing is { } p && stack.Slices.FirstOrDefault(s => s.Slice.PixelSpacing is { } q && !(Near(p[0], q[0]) && Near(p[1], q[1]))) is { } spacing)
            stops.Add(new(Pair(first, spacing), new(FindingCodes.MixedSizes, Tag.Name(Tag.PixelSpacing), Text($"{p[0]} x {p[1]} mm and {spacing.Slice.PixelSpacing![0]} x {spacing.Slice.PixelSpacing[1]} mm"), OneSeries)));
    }

    private static void CheckSpacing(StackGeometry g, List<Stop> stops, List<Finding> findings)
    {
        var same = Enumerable.Range(0, g.StepsMm.Count).FirstOrDefault(k => g.StepsMm[k] <= SamePlaceMm, -1);
        if (same >= 0)
        {
            var count = g.StepsMm.Count(s => s <= SamePlaceMm);
            var more = count > 1 ? Text($", and {count - 1} more") : "";
            var value = Text($"the same position along the slice normal, {g.DepthsMm[same]:F3} mm{more}");
            stops.Add(new(Pair(g.Slices[same], g.Slices[same + 1]), new(FindingCodes.SamePosition, Tag.Name(Tag.ImagePosition), value, "Keep one image per position: choose one acquisition or one reconstruction."), At(g, same)));
        }

        var gaps = FindMissing(g);
        if (gaps.Count > 0)
            stops.Add(Missing(g, gaps));
        else if (same < 0 && g.StepsMm.Count > 0 && !SpacingRule.IsEven(g.StepsMm))
            findings.Add(Uneven(g));
    }

    /// <summary>Looks between distinct positions only, so that a repeated slice does not hide a missing one.</summary>
    private static IReadOnlyList<MissingGap> FindMissing(StackGeometry g)
    {
        var own = Enumerable.Range(0, g.Slices.Count).Where(k => k == g.Slices.Count - 1 || g.StepsMm[k] > SamePlaceMm).ToArray();
        double[] steps = [.. own.Skip(1).Select((k, i) => g.DepthsMm[k] - g.DepthsMm[own[i]])];
        var gaps = SpacingRule.FindMissing(steps, [.. own.Select(k => g.Slices[k].Slice.ThicknessMm)], [.. own.Select(k => g.Slices[k].Slice.InstanceNumber)]);
        return [.. gaps.Select(gap => gap with { After = own[gap.After] })];
    }

    private static Stop Missing(StackGeometry g, IReadOnlyList<MissingGap> gaps)
    {
        var widest = gaps.MaxBy(x => x.FoundMm);
        var k = widest.After;
        var further = gaps.Count > 1 ? Text($", and {gaps.Count - 1} further gaps") : "";
        var slices = widest.MissingSlices == 1 ? "1 slice is" : Text($"{widest.MissingSlices} slices are");
        var value = Text($"from {g.DepthsMm[k]:F3} to {g.DepthsMm[k + 1]:F3} mm along the normal the step is {widest.FoundMm:F3} mm where {widest.ExpectedMm:F3} mm is expected, so {slices} missing{further}");
        return new(Pair(g.Slices[k], g.Slices[k + 1]), new(FindingCodes.SliceMissing, "slice spacing", value, "Send the missing slices: what lies between is not in the pictures."), At(g, k));
    }

    private static Finding Uneven(StackGeometry g)
    {
        double low = g.StepsMm.Min(), high = g.StepsMm.Max();
        var k = g.StepsMm.ToList().IndexOf(low);
        var severity = high - low <= WrittenDecimalMm + SamePlaceMm ? Severity.Note : Severity.Caution;
        var message = Text($"Slices are {low:F3} to {high:F3} mm apart along the normal, narrowest after {g.Slices[k].Name}; each is kept at its own position.");
        return new(FindingCodes.UnevenSpacing, severity, message, "Check that the anatomy of interest lies where slices are close enough.", At(g, k));
    }

    private static void DescribeGeometry(StackGeometry g, List<Finding> findings)
    {
        if (g.Inexactness > ExactCosines)
            findings.Add(new(FindingCodes.OrientationInexact, Severity.Caution, Text($"{g.Slices[0].Name}: {Tag.Name(Tag.ImageOrientation)}: off unit length or right angle by {g.Inexactness:F5}; made exact."), "Ask where the files were rewritten."));
        if (g.Slices.Count > 1 && g.DepthsMm[^1] - g.DepthsMm[0] > SamePlaceMm)
            DescribeTilt(g, findings);
        DescribeThickness(g, findings);
        var (off, slice) = g.OffLine();
        if (off > Math.Max(WrittenDecimalMm, Math.Min(g.PixelSpacingMm[0], g.PixelSpacingMm[1]) / 2))
            findings.Add(new(FindingCodes.SlicesOffLine, Severity.Caution, Text($"{g.Slices[slice].Name}: {Tag.Name(Tag.ImagePosition)}: {off:F3} mm beside the line through the first and the last slice."), "Check the model for a step at this slice.", At(g, slice)));
    }

    private static void DescribeTilt(StackGeometry g, List<Finding> findings)
    {
        var tilt = g.Map.TiltDeg;
        if (tilt > TiltNoteDeg)
            findings.Add(new(FindingCodes.GantryTilt, Severity.Note, Text($"The gantry was tilted by {tilt:F3} degrees; each slice is kept at its own position, nothing is resampled."), "None needed."));
        if (g.Slices.Select(s => s.Facts.TiltTagDeg).FirstOrDefault(t => t is not null) is { } tag && Math.Abs(Math.Abs(tag) - tilt) > TiltTagToleranceDeg)
            findings.Add(new(FindingCodes.TiltTagDisagrees, Severity.Caution, Text($"{Tag.Name(Tag.GantryTilt)} says {tag:F1} degrees, the positions say {tilt:F3}; the positions are used."), "Ask whether the series was straightened after the scan."));
    }

    private static void DescribeThickness(StackGeometry g, List<Finding> findings)
    {
        var thickness = g.Slices.Select(s => s.Slice.ThicknessMm).OfType<double>().ToArray();
        var widest = g.StepsMm.Count > 0 ? g.StepsMm.Max() : 0;
        var coarsest = Math.Max(widest, thickness.Length > 0 ? thickness.Max() : 0);
        if (ThicknessBands.Describe(coarsest) is { } thick)
            findings.Add(thick);
        if (thickness.Length < g.Slices.Count || g.StepsMm.Count == 0)
            return;
        var ratios = g.StepsMm.Select((step, k) => step > SamePlaceMm ? MeanThicknessMm(g, k) / step : 0).ToArray();
        var typical = ratios.Order().ElementAt(ratios.Length / 2);
        if (typical > ThicknessShare)
        {
            var k = Array.IndexOf(ratios, typical);
            findings.Add(new(FindingCodes.SlicesOverlap, Severity.Note, Text($"Slices overlap: {MeanThicknessMm(g, k):F3} mm thick every {g.StepsMm[k]:F3} mm; the step is used as spacing, never the thickness."), "None needed.", At(g, k)));
        }

        DescribeApart(g, findings);
    }

    private static void DescribeApart(StackGeometry g, List<Finding> findings)
    {
        var apart = Enumerable.Range(0, g.StepsMm.Count)
            .Select(k => (Slice: k, OpenMm: g.StepsMm[k] - (ThicknessShare * MeanThicknessMm(g, k))))
            .MaxBy(x => x.OpenMm);
        if (apart.OpenMm <= EvenMm)
            return;
        var k = apart.Slice;
        var message = Text($"{Pair(g.Slices[k], g.Slices[k + 1])}: the slices are {g.StepsMm[k]:F3} mm apart but {g.Slices[k].Slice.ThicknessMm:F3} mm thick: tissue between them was not measured.");
        findings.Add(new(FindingCodes.SlicesApart, Severity.Caution, message, "Ask for a gapless reconstruction.", At(g, k)));
    }

    /// <summary>Of the two slices on either side of a step; only where every slice states its thickness.</summary>
    private static double MeanThicknessMm(StackGeometry g, int step) =>
        (g.Slices[step].Slice.ThicknessMm!.Value + g.Slices[step + 1].Slice.ThicknessMm!.Value) / 2;

    private static void DescribeFiles(SliceStack stack, List<Finding> findings)
    {
        void Tell(Func<FileFacts, bool> holds, string code, Severity severity, Func<FileFacts, string> message, string remedy)
        {
            var files = stack.Slices.Select(s => s.File).DistinctBy(f => f.Index).Where(f => holds(f.Scan.Ct!)).ToArray();
            if (files.Length > 0)
                findings.Add(new(code, severity, $"{files[0].Name}{(files.Length > 1 ? Text($" and {files.Length - 1} more") : "")}: {message(files[0].Scan.Ct!)}.", remedy));
        }

        Tell(f => !f.HasMeta, FindingCodes.FileMetaMissing, Severity.Note, f => $"{Tag.Name(Tag.TransferSyntaxUid)}: missing; read as {TransferSyntax.Find(f.Syntax).Name}", "None needed if the pictures look right.");
        Tell(f => f.Lossy, FindingCodes.LossyCompression, Severity.Caution, f => $"{Tag.Name(Tag.LossyCompression)}: compressed with loss{(f.LossyRatio is { } r ? Text($", ratio {r:F1}") : "")} ({TransferSyntax.Find(f.Syntax).Name})", "Ask for the series without lossy compression; do not plan on this one.");
        Tell(f => f.BurnedIn, FindingCodes.BurnedInText, Severity.Caution, _ => $"{Tag.Name(Tag.BurnedInAnnotation)}: YES: text is drawn into the pictures and may name the patient", "Look at the section pictures before they are shown or sent.");
        Tell(f => f.ExtraPixelBytes > 0, FindingCodes.PixelDataLong, Severity.Note, f => Text($"{Tag.Name(Tag.PixelData)}: {f.ExtraPixelBytes} bytes more than rows x columns need; left out"), "None needed if the pictures look right.");
        Tell(f => f.Monochrome1, FindingCodes.Monochrome1, Severity.Caution, f => $"{Tag.Name(Tag.Photometric)}: MONOCHROME1, an inverted display; HU are read as written", "Check that bone is bright and air is dark in the section pictures.");
        var type = stack.Slices.FirstOrDefault(s => s.Slice.RescaleType is "US" or "HU_MOD" or "other");
        if (type is not null)
            findings.Add(new(FindingCodes.RescaleNotHu, Severity.Caution, $"{type.Name}: {Tag.Name(Tag.RescaleType)}: {(type.Slice.RescaleType == "other" ? "none of the standard's terms" : type.Slice.RescaleType)}; the values are taken for HU.", "Check air (-1000) and soft tissue (0 to 100) before a threshold in HU is trusted."));
    }

    private static void DescribePart(SliceStack stack, List<Finding> findings)
    {
        if (stack.Part is { } part)
            findings.Add(new(
                FindingCodes.SeriesSplit, part.Guessed ? Severity.Caution : Severity.Note, $"The series holds several stacks of slices in the same place; this one has {part.How}.",
                part.Guessed ? "Look at the section pictures: slices of two scans may be mixed." : "Check that this is the acquisition or reconstruction that is meant."));
    }

    private static Place At(StackGeometry g, int slice) => new(Slice: slice, PositionMm: g.OriginsMm[slice]);

    private static string Pair(SliceSource a, SliceSource b) => $"{a.Name} and {b.Name}";

    private static bool Near(double a, double b) => Math.Abs(a - b) <= SameSpacingShare * Math.Max(a, b);

    private static string Text(FormattableString text) => text.ToString(CultureInfo.InvariantCulture);
}
