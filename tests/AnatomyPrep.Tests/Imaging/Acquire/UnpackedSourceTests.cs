using System.IO.Compression;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Imaging.Acquire;

namespace AnatomyPrep.Tests.Imaging.Acquire;

public sealed class UnpackedSourceTests : IDisposable
{
    private readonly TestFolder _folder = new();

    public void Dispose() => _folder.Dispose();

    [Fact]
    public void Folders_and_files_stay_where_they_are()
    {
        File.WriteAllText(_folder["scan.obj"], "v 0 0 0");
        using (var folder = UnpackedSource.Open(_folder.Path, RunContext.Default))
            folder.Path.Should().Be(_folder.Path);
        using (var file = UnpackedSource.Open(_folder["scan.obj"], RunContext.Default))
            file.Path.Should().Be(_folder["scan.obj"]);
        File.Exists(_folder["scan.obj"]).Should().BeTrue();
    }

    [Fact]
    public void An_archive_becomes_a_folder_that_goes_again()
    {
        Directory.CreateDirectory(_folder["in"]);
        File.WriteAllText(Path.Combine(_folder["in"], "one"), "1");
        File.WriteAllText(Path.Combine(_folder["in"], "two"), "2");
        ZipFile.CreateFromDirectory(_folder["in"], _folder["in.zip"]);
        string unpacked;
        using (var source = UnpackedSource.Open(_folder["in.zip"], RunContext.Default))
        {
            unpacked = source.Path;
            Directory.GetFiles(unpacked).Order().Select(File.ReadAllText).Should().Equal("1", "2");
        }

        Directory.Exists(unpacked).Should().BeFalse();
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void What_is_not_there_or_broken_is_said()
    {
        ((Action)(() => UnpackedSource.Open(_folder["none"], RunContext.Default))).Should().Throw<BadInputException>();
        File.WriteAllText(_folder["broken.zip"], "PK\x03\x04 and no more");
        ((Action)(() => UnpackedSource.Open(_folder["broken.zip"], RunContext.Default))).Should().Throw<BadInputException>().Which.Message.Should().Contain("broken.zip");
    }
}
