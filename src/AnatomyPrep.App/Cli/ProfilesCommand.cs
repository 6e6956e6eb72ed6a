using System.CommandLine;
using AnatomyPrep.App.Pipeline;
using AnatomyPrep.Meshing.Prepare;

namespace AnatomyPrep.App.Cli;

/// <summary>profiles [NAME|FILE]: list the process profiles, print one, or check a file of one's own.</summary>
internal static class ProfilesCommand
{
    public static Command Create()
    {
        var name = new Argument<string?>("NAME") { Description = "Profile to print; a file is checked first", Arity = ArgumentArity.ZeroOrOne };
        var command = new Command("profiles", "List process profiles, or print one") { name };
        command.SetAction(parsed =>
        {
            if (parsed.GetValue(name) is { } wanted)
                Output.WriteResult(ProfileLibrary.Load(wanted).Yaml.TrimEnd());
            else
                foreach (var listed in ProfileLibrary.Names)
                    Output.WriteResult(Line(listed, Describe(ProfileLibrary.Load(listed).Profile)));
            return ExitCodes.Done;
        });
        return command;
    }

    internal static string Line(string name, string description) => $"{name,-20} {description}";

    internal static string Describe(PrintProfile profile) => $"{profile.Material}; support: {profile.SupportRemoval}";
}
