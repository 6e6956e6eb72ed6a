using AnatomyPrep.App.Pipeline;
using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.Tests.App.Pipeline;

public sealed class OutputFolderTests
{
    [Fact]
    public void Nothing_is_visible_under_the_final_name_until_published()
    {
        using var test = new TestFolder();
        using var folder = OutputFolder.Create(test["result"]);
        File.WriteAllText(folder["model.stl"], "x");
        Directory.Exists(test["result"]).Should().BeFalse();

        folder.Publish().Should().Be(test["result"]);
        File.Exists(Path.Combine(test["result"], "model.stl")).Should().BeTrue();
    }

    [Fact]
    public void What_is_not_published_leaves_nothing()
    {
        using var test = new TestFolder();
        using (var folder = OutputFolder.Create(test["result"]))
            File.WriteAllText(folder["model.stl"], "x");
        Directory.EnumerateFileSystemEntries(test.Path).Should().BeEmpty();
    }

    [Fact]
    public void Results_are_never_overwritten()
    {
        using var test = new TestFolder();
        Directory.CreateDirectory(test["result"]);
        File.WriteAllText(Path.Combine(test["result"], "kept.txt"), "x");
        var act = () => OutputFolder.Create(test["result"]);
        act.Should().Throw<PlanException>().WithMessage("*result exists and is not empty*");
    }

    [Fact]
    public void A_folder_filled_meanwhile_is_not_overwritten_either()
    {
        using var test = new TestFolder();
        using var folder = OutputFolder.Create(test["result"]);
        Directory.CreateDirectory(test["result"]);
        File.WriteAllText(Path.Combine(test["result"], "kept.txt"), "x");
        var act = () => folder.Publish();
        act.Should().Throw<PlanException>();
        File.Exists(Path.Combine(test["result"], "kept.txt")).Should().BeTrue();
    }
}
