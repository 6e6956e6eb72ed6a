using System.Globalization;
using System.Text;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Imaging.Pictures;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Records.Inspections;
using AnatomyPrep.Records.Reports;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.App.Pipeline.Inspections;

/// <summary>Who read the caliper, and which.</summary>
internal sealed record CaliperUse(string? Inspector, string? Instrument, DateOnly? CalibratedUntil);

/// <summary>The caliper sheet of a run, and what its readings say.</summary>
internal static class CaliperInspection
{
    public const int MostPerAxis = 9;

    // A scale error of less is what a caliper's 0.02 mm make of lengths of a few millimetres; common practice, no source.
    public const double ScaleFrom = 0.005;
    private const double ScatterFrom = 0.25;

    /// <summary>Writes the sheet as PDF and, beside it, the CSV to fill in.</summary>
    public static (string Sheet, IReadOnlyList<CaliperDistance> Distances) WriteSheet(InspectedRun inspected, int perAxis, string pdf, string csv, double toleranceMm, RunContext run)
    {
        var distances = inspected.Distances(perAxis, run);
        var sheet = inspected.SheetCode(perAxis, distances);
        var content = new CaliperSheetContent(
            inspected.Statement.Run, RunCode.Of(inspected.Statement), sheet, inspected.File, toleranceMm,
            [.. distances.Select(d => new CaliperLine(d.Name, AxisName(d.Axis), d.JawMm))], [.. Pictures(inspected, distances, run)]);
        using (var file = new FileStream(pdf, FileMode.CreateNew, FileAccess.Write))
            CaliperSheet.Write(file, content);
        using (var file = new FileStream(csv, FileMode.CreateNew, FileAccess.Write))
            file.Write(Encoding.UTF8.GetBytes(CaliperReadings.Empty(sheet, distances)));
        return (sheet, distances);
    }

    /// <summary>What the readings of a filled-in sheet say.</summary>
    /// <exception cref="BadInputException">The sheet is of another model, or a reading is impossible.</exception>
    public static InspectionFacts FromSheet(InspectedRun inspected, byte[] csv, string file, double toleranceMm, CaliperUse use, DateTimeOffset at, RunContext run)
    {
        var (sheet, readings) = CaliperReadings.Read(csv, file);
        var perAxis = int.TryParse(sheet.Split('-')[0], NumberStyles.None, CultureInfo.InvariantCulture, out var number) ? number : 0;
        if (perAxis is < 1 or > MostPerAxis)
            throw new BadInputException(file, "sheet", sheet.Length == 0 ? "no code" : "not a code of a sheet", "Keep the first column as it was.");
        var distances = inspected.Distances(perAxis, run);
        var expected = inspected.SheetCode(perAxis, distances);
        if (sheet != expected)
            throw new BadInputException(file, "sheet", "of another model", $"The sheet of this model is {expected}: make it with inspect-print sheet, and measure this part.");
        return Judge(inspected, sheet, distances, readings, file, toleranceMm, use, at);
    }

    /// <summary>What readings given one by one say.</summary>
    public static InspectionFacts FromOptions(InspectedRun inspected, int perAxis, IReadOnlyDictionary<string, IReadOnlyList<double>> readings, double toleranceMm, CaliperUse use, DateTimeOffset at, RunContext run)
    {
        var distances = inspected.Distances(perAxis, run);
        return Judge(inspected, inspected.SheetCode(perAxis, distances), distances, readings, "--reading", toleranceMm, use, at);
    }

    private static InspectionFacts Judge(
        InspectedRun inspected, string sheet, IReadOnlyList<CaliperDistance> distances, IReadOnlyDictionary<string, IReadOnlyList<double>> readings, string file, double toleranceMm, CaliperUse use, DateTimeOffset at)
    {
        CaliperReadings.RequirePlausible(readings, distances, file);
        var caliper = CaliperFacts.Of(sheet, use.Instrument, use.CalibratedUntil,
            [.. distances.Select(d => new CaliperReading(d.Name, AxisName(d.Axis), d.FromMm, d.ToMm, d.LengthMm, d.PlacementMm, readings[d.Name]))]);
        var facts = inspected.Facts(at, toleranceMm, use.Inspector) with { Caliper = caliper };
        return facts with { Passed = facts.Passes(), Findings = [.. Findings(facts, caliper)] };
    }

    private static IEnumerable<Finding> Findings(InspectionFacts facts, CaliperFacts caliper)
    {
        var agreement = caliper.Agreement;
        if (!facts.Passes())
            yield return new(FindingCodes.PrintDeviates, Severity.Stop,
                FormattableString.Invariant($"The part differs from its model by {agreement.LowerMm:F2} to {agreement.UpperMm:F2} mm (limits of agreement), at most {agreement.LargestMm:F2} mm; {facts.ToleranceMm} mm is allowed."),
                "Do not hand it over. Read the worst distances again; then look at scale, warp and finishing.");
        foreach (var axis in caliper.Scales.Where(IsScaled))
            yield return new(FindingCodes.PrintScaled, Severity.Caution,
                FormattableString.Invariant($"Along {axis.Axis} the part is {100 * Math.Abs(axis.Scale - 1):F2} % too {(axis.Scale > 1 ? "large" : "small")}."),
                "Compare with the shrink of the process profile and the steps of the machine's axis, and correct what is wrong.");
        foreach (var d in caliper.Distances.Where(d => d.ReadingsMm.Max() - d.ReadingsMm.Min() > ScatterFrom * facts.ToleranceMm))
            yield return new(FindingCodes.ReadingsScatter, Severity.Caution,
                FormattableString.Invariant($"Readings of {d.Name} lie {d.ReadingsMm.Max() - d.ReadingsMm.Min():F2} mm apart."), "Clean both places and read it again.");
        if (caliper.CalibratedUntil is { } until && until < DateOnly.FromDateTime(facts.At.UtcDateTime))
            yield return new(FindingCodes.CalibrationExpired, Severity.Caution,
                FormattableString.Invariant($"The caliper was calibrated until {until:yyyy-MM-dd}."), "Measure again with one that is calibrated.");
    }

    // Twice its standard error away from 1, so that scatter is not taken for scale.
    private static bool IsScaled(AxisScale axis) => Math.Abs(axis.Scale - 1) >= ScaleFrom && Math.Abs(axis.Scale - 1) > 2 * (axis.StandardError ?? 0);

    private static string AxisName(int axis) => "xyz"[axis].ToString();

    /// <summary>The distances of each axis in the two views that show them at full length.</summary>
    private static IEnumerable<ReportPicture> Pictures(InspectedRun inspected, IReadOnlyList<CaliperDistance> distances, RunContext run)
    {
        ViewDirection[][] views = [[ViewDirection.Front, ViewDirection.Above], [ViewDirection.LeftSide, ViewDirection.Above], [ViewDirection.Front, ViewDirection.LeftSide]];
        foreach (var axis in distances.GroupBy(d => d.Axis))
        {
            var options = PreviewOptions.Default with
            {
                Views = views[axis.Key],
                WidthPixels = 1400,
                HeightPixels = 560,
                Axes = inspected.Axes,
                Title = $"Along {AxisName(axis.Key)}: {string.Join(", ", axis.Select(d => d.Name))}",
                Marks = [.. axis.Select(d => new PictureMark(d.Name, d.FromMm, d.ToMm))],
            };
            yield return new(options.Title, PreviewPicture.Encode(inspected.Model, options, run), true);
        }
    }
}
