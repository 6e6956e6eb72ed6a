using System.Xml.Linq;

namespace AnatomyPrep.Tests.Architecture;

/// <summary>Data flows one way: a stage project sees Core and nothing beside itself; only App knows the order.</summary>
public sealed class ProjectReferencesTests
{
    private static readonly Dictionary<string, string[]> s_allowed = new()
    {
        ["AnatomyPrep.Core"] = [],
        ["AnatomyPrep.Imaging"] = ["AnatomyPrep.Core"],
        ["AnatomyPrep.Meshing"] = ["AnatomyPrep.Core"],
        ["AnatomyPrep.Records"] = ["AnatomyPrep.Core"],
        ["AnatomyPrep.Service"] = ["AnatomyPrep.Core", "AnatomyPrep.Imaging", "AnatomyPrep.Records"],
        ["AnatomyPrep.Phantoms"] = ["AnatomyPrep.Core"],
        ["AnatomyPrep.App"] = ["AnatomyPrep.Core", "AnatomyPrep.Imaging", "AnatomyPrep.Meshing", "AnatomyPrep.Records", "AnatomyPrep.Service", "AnatomyPrep.Phantoms"],
        ["AnatomyPrep.Tests"] = ["AnatomyPrep.App"],
        ["AnatomyPrep.Benchmarks"] = ["AnatomyPrep.App"],
    };

    [Fact]
    public void Every_reference_points_the_allowed_way()
    {
        var projects = Directory.GetFiles(Repository.Root, "*.csproj", SearchOption.AllDirectories);
        projects.Select(p => Path.GetFileNameWithoutExtension(p)).Should().BeEquivalentTo(s_allowed.Keys);
        foreach (var project in projects)
        {
            var references = XDocument.Load(project).Descendants("ProjectReference")
                .Select(r => Path.GetFileNameWithoutExtension(r.Attribute("Include")!.Value.Replace('\\', '/')));
            references.Should().BeSubsetOf(s_allowed[Path.GetFileNameWithoutExtension(project)], "of {0}", Path.GetFileName(project));
        }
    }
}
