using System.Reflection;
using System.Text;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Meshing.Prepare;

namespace AnatomyPrep.App.Pipeline;

/// <summary>A process profile and the text it was read from.</summary>
internal sealed record ProfileText(PrintProfile Profile, string Yaml);

/// <summary>Process profiles by name or by file.</summary>
internal static class ProfileLibrary
{
    /// <summary>Taken where neither plan nor command names one.</summary>
    public const string Usual = "extrusion";

    private const string Folder = ".Pipeline.Profiles.";

    /// <summary>Names of the profiles that come with the program, sorted.</summary>
    public static IReadOnlyList<string> Names { get; } =
        [.. Assembly.GetExecutingAssembly().GetManifestResourceNames()
            .Where(n => n.Contains(Folder, StringComparison.Ordinal))
            .Select(n => Path.GetFileNameWithoutExtension(n[(n.IndexOf(Folder, StringComparison.Ordinal) + Folder.Length)..]))
            .Order(StringComparer.Ordinal)];

    /// <summary>A profile by name, else a file.</summary>
    /// <exception cref="PlanException">Neither exists, or the profile is wrong.</exception>
    public static ProfileText Load(string nameOrFile)
    {
        if (Names.Contains(nameOrFile))
            return Parse(TextOf(nameOrFile), nameOrFile);
        if (!File.Exists(nameOrFile))
            throw new PlanException("command", null, "--profile", nameOrFile, $"a profile file, or one of {string.Join(", ", Names)}");
        return Parse(File.ReadAllText(nameOrFile, Encoding.UTF8), Path.GetFileName(nameOrFile));
    }

    public static ProfileText Parse(string yaml, string where) => new(ProfileReader.Read(yaml, where), yaml);

    private static string TextOf(string name)
    {
        var assembly = Assembly.GetExecutingAssembly();
        var resource = assembly.GetManifestResourceNames().Single(n => n.EndsWith($"{Folder}{name}.yaml", StringComparison.Ordinal));
        using var reader = new StreamReader(assembly.GetManifestResourceStream(resource)!, Encoding.UTF8);
        return reader.ReadToEnd();
    }
}
