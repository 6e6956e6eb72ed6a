using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Records.Reports;

/// <summary>What must not be overlooked about a model, from the steps it went through.</summary>
internal static class ModelWords
{
    /// <summary>Model size over true size: as asked for, times every scale step. What is added for shrinking is not counted: it goes again.</summary>
    public static double Scale(RunFacts facts) => facts.Steps.Where(s => s.Name == "scale")
        .Aggregate(facts.Request.Scale, (scale, step) => scale * (step.Effect.Measures?.GetValueOrDefault("factor", 1) ?? 1));

    /// <summary>An even number of mirrorings is none.</summary>
    public static bool IsMirrored(RunFacts facts) => facts.Steps.Count(s => s.Name == "mirror") % 2 == 1;

    public static string Side(Side? side) => side is { } known ? ReportText.Word(known).ToUpperInvariant() : "does not apply";

    /// <summary>For a label: to be read across a table.</summary>
    public static string SideLetters(Side? side) => side switch
    {
        Statements.Side.Left => "L",
        Statements.Side.Right => "R",
        Statements.Side.Both => "L+R",
        Statements.Side.Midline => "M",
        _ => "-",
    };

    /// <summary>The first twelve digits of the run id, in groups of four: enough to tell a site's models apart.</summary>
    public static string ModelId(RunFacts facts) => string.Join(' ', facts.RunId[..12].Chunk(4).Select(c => new string(c)));

    /// <summary>In capitals, what changes the meaning of the model.</summary>
    public static IEnumerable<string> Banners(RunFacts facts)
    {
        if (IsMirrored(facts))
            yield return "MIRRORED: shows the mirror image of the person's anatomy";
        if (Scale(facts) is var scale && scale != 1)
            yield return $"NOT LIFE SIZE: {ReportText.Scale(scale)}";
        if (!facts.Measurements.Mesh.Solid)
            yield return "NOT SOLID: the model cannot be printed as it is";
    }
}
