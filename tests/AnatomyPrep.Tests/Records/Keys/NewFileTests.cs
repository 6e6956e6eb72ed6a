using System.Text;
using AnatomyPrep.Records.Keys;

namespace AnatomyPrep.Tests.Records.Keys;

public sealed class NewFileTests
{
    [Fact]
    public void Of_many_that_write_one_name_at_once_one_does_and_its_bytes_stay()
    {
        using var folder = new TestFolder();
        for (var round = 0; round < 20; round++)
        {
            var path = folder[$"{round}"];
            var won = Enumerable.Range(0, 8).AsParallel().WithDegreeOfParallelism(8)
                .Select(i => (Text: new string((char)('a' + i), 10_000), Won: false))
                .Select(w => w with { Won = NewFile.Write(path, file => file.Write(Encoding.ASCII.GetBytes(w.Text))) })
                .ToList();
            File.ReadAllText(path).Should().Be(won.Single(w => w.Won).Text);
        }

        Directory.GetFiles(folder.Path).Should().HaveCount(20, "nothing is left aside");
    }

    [Fact]
    public void Writing_that_fails_leaves_nothing()
    {
        using var folder = new TestFolder();
        FluentActions.Invoking(() => NewFile.Write(folder["a"], _ => throw new InvalidOperationException())).Should().Throw<InvalidOperationException>();
        FluentActions.Invoking(() => NewFile.Write(folder["none/a"], _ => { })).Should().Throw<IOException>();
        Directory.GetFileSystemEntries(folder.Path).Should().BeEmpty();
    }
}
