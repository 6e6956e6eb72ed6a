using System.Security.Cryptography;
using System.Text;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Service.Hosting;

namespace AnatomyPrep.Service.Viewing;

/// <summary>Plans that were changed on the page: kept by their hash, checked by the program before a job may name them.</summary>
/// <remarks>They are kept as long as the data folder: a job that is tried again needs its plan. The run's record holds the text as well.</remarks>
internal sealed class EditedPlans(ProgramChild program, DataFolder folder)
{
    private const string Prefix = "changed-";
    private const string PlanOption = "--plan=";
    private const int LongestCharacters = 1 << 20;

    private string Plans => Path.Combine(folder.Root, "viewing", "plans");

    /// <summary>Keeps a plan and gives the name that a job may use for it.</summary>
    /// <param name="text">YAML or JSON.</param>
    /// <exception cref="PlanException">It is wrong; the message names the place, and what is allowed.</exception>
    public string Keep(string text)
    {
        if (text.Length > LongestCharacters)
            throw new PlanException("request", null, "plan", $"{text.Length} characters", $"at most {LongestCharacters}");
        var name = Prefix + Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes(text)))[..16];
        DataFolder.CreateOwned(Path.GetDirectoryName(Plans)!);
        DataFolder.CreateOwned(Plans);
        var aside = Path.Combine(Plans, $".{name}-{Guid.NewGuid():N}");
        File.WriteAllText(aside, text);
        try
        {
            using var child = program.Check("plans", aside);
            if (child.WaitForExit() != 0)
                throw new PlanException("request", null, "plan", child.Errors.ReplaceLineEndings(" ").Replace(Path.GetFileName(aside), "plan", StringComparison.Ordinal).Trim(), "what the schema of plans says");
            File.Move(aside, PathOf(name), overwrite: true);
            return name;
        }
        finally
        {
            File.Delete(aside);
        }
    }

    /// <summary>An argument of the program, with the file of a kept plan in place of its name.</summary>
    public string Argument(string argument) =>
        argument.StartsWith(PlanOption, StringComparison.Ordinal) ? PlanOption + FileOrName(argument[PlanOption.Length..]) : argument;

    /// <summary>What the program takes for a plan: the file of a kept one, else the name as it is.</summary>
    public string FileOrName(string name) => name.StartsWith(Prefix, StringComparison.Ordinal) ? PathOf(name) : name;

    private string PathOf(string name) => Path.Combine(Plans, $"{Path.GetFileName(name)}.yaml");
}
