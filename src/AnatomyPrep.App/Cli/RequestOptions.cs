using System.CommandLine;
using AnatomyPrep.App.Pipeline;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Meshing.Formats;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.App.Cli;

/// <summary>The options that say what was asked for.</summary>
internal sealed class RequestOptions
{
    private readonly Option<string> _purpose = new("--purpose") { Description = "education or planning", DefaultValueFactory = _ => "education" };
    private readonly Option<string?> _anatomy = new("--anatomy") { Description = "What the model shows, such as skull (default: the plan's name); the size of a scan is judged by it" };
    private readonly Option<string?> _side = new("--side") { Description = "left, right, both or midline" };
    private readonly Option<string?> _requester = new("--requester") { Description = "Code of who asks; never a name" };
    private readonly Option<string?> _unit = CreateUnit();

    public static Option<string?> CreateUnit() => new("--unit") { Description = "Unit of mesh and point files that state none: mm, cm, m, in" };

    public void AddTo(Command command)
    {
        _purpose.AcceptOnlyFromAmong("education", "planning");
        _side.AcceptOnlyFromAmong("left", "right", "both", "midline");
        foreach (var option in new Option[] { _purpose, _anatomy, _side, _requester, _unit })
            command.Options.Add(option);
    }

    public RunRequest Read(ParseResult parsed, PlanText plan) => new(
        Enum.Parse<Purpose>(parsed.GetValue(_purpose)!, ignoreCase: true),
        parsed.GetValue(_anatomy) ?? plan.Plan.Name,
        Scale: 1,
        parsed.GetValue(_side) is { } side ? Enum.Parse<Side>(side, ignoreCase: true) : null,
        parsed.GetValue(_requester));

    /// <exception cref="PlanException">Out of range.</exception>
    public static double Scale(double given) => given is >= 0.05 and <= 20
        ? given
        : throw new PlanException("command", null, "--scale", string.Create(System.Globalization.CultureInfo.InvariantCulture, $"{given}"), "0.05 to 20; 1 is life size");

    /// <summary>What the source shows, when it was said; null when not.</summary>
    public string? Anatomy(ParseResult parsed) => parsed.GetValue(_anatomy);

    /// <exception cref="PlanException">Not a unit.</exception>
    public LengthUnit? Unit(ParseResult parsed) => Unit(parsed.GetValue(_unit));

    /// <exception cref="PlanException">Not a unit.</exception>
    public static LengthUnit? Unit(string? word) => word switch
    {
        null => null,
        "mm" => LengthUnit.Millimetre,
        "cm" => LengthUnit.Centimetre,
        "m" => LengthUnit.Metre,
        "in" => LengthUnit.Inch,
        _ => throw new PlanException("command", null, "--unit", word, "mm, cm, m, in"),
    };
}
