using System.CommandLine;
using AnatomyPrep.App.Pipeline;
using AnatomyPrep.Phantoms.Catalogue;

namespace AnatomyPrep.App.Cli;

/// <summary>phantom NAME --out DIR: write a made-up CT series with known truth, for trying out and for checking.</summary>
internal static class PhantomCommand
{
    public static Command Create(CommandContext context)
    {
        var name = new Argument<string?>("NAME") { Description = "Phantom to write; none lists them", Arity = ArgumentArity.ZeroOrOne };
        var output = new Option<string?>("--out") { Description = "New or empty folder" };
        var command = new Command("phantom", "Write a CT series of analytic shapes with known truth") { name, output };
        command.SetAction((parsed, cancellation) => Task.FromResult(
            parsed.GetValue(name) is { } wanted ? Write(context, wanted, parsed.GetValue(output), cancellation) : List()));
        return command;
    }

    private static int List()
    {
        foreach (var phantom in PhantomCatalogue.Names)
            Output.WriteResult($"{phantom,-18} {PhantomCatalogue.Purpose(phantom)}");
        return ExitCodes.Done;
    }

    private static int Write(CommandContext context, string name, string? output, CancellationToken cancellation)
    {
        var phantom = PhantomCatalogue.Create(name);
        using var folder = OutputFolder.Create(output ?? $"phantom-{name}");
        context.Run(run => phantom.WriteWithTruth(folder["images"], run), cancellation);
        Output.WriteResult(Path.Combine(folder.Publish(), "images"));
        return ExitCodes.Done;
    }
}
