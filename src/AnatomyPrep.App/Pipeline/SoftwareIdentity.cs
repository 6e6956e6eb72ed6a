using System.Reflection;
using System.Runtime.InteropServices;
using System.Text.Json;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.App.Pipeline;

/// <summary>Which program this is: version, revision, runtime and the libraries it was built with.</summary>
internal static class SoftwareIdentity
{
    private static readonly Lazy<SoftwareFacts> s_facts = new(Read);

    public static SoftwareFacts Facts => s_facts.Value;

    private static SoftwareFacts Read()
    {
        var informational = typeof(SoftwareIdentity).Assembly.GetCustomAttribute<AssemblyInformationalVersionAttribute>()?.InformationalVersion ?? "0";
        var parts = informational.Split('+', 2);
        return new("AnatomyPrep", parts[0], RuntimeInformation.FrameworkDescription, OperatingSystem(), Packages(), parts.Length > 1 ? parts[1] : null);
    }

    private static string OperatingSystem()
    {
        const string release = "/etc/os-release";
        var pretty = File.Exists(release) ? File.ReadLines(release).FirstOrDefault(l => l.StartsWith("PRETTY_NAME=", StringComparison.Ordinal)) : null;
        return pretty is null ? RuntimeInformation.OSDescription : pretty["PRETTY_NAME=".Length..].Trim('"');
    }

    // The dependency file beside the program lists every package that it loads.
    private static List<PackageFacts> Packages()
    {
        var path = Path.Combine(AppContext.BaseDirectory, "AnatomyPrep.App.deps.json");
        if (!File.Exists(path))
            return [];
        using var document = JsonDocument.Parse(File.ReadAllBytes(path));
        return [.. document.RootElement.GetProperty("libraries").EnumerateObject()
            .Where(l => l.Value.GetProperty("type").GetString() == "package")
            .Select(l => l.Name.Split('/'))
            .Select(l => new PackageFacts(l[0], l[1]))
            .OrderBy(p => p.Name, StringComparer.Ordinal)];
    }
}
