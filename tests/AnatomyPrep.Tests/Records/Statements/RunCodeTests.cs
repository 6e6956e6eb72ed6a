using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Tests.Records.Statements;

public sealed class RunCodeTests
{
    /// <summary>The line of docs/quality-officer/check-a-record.md: sort and sha256sum (coreutils), find (findutils), xargs.</summary>
    private const string ByHand = "find . -type f ! -name report.pdf ! -name label.pdf ! -name record.json ! -name record.pub.pem -printf '%P\\n' | LC_ALL=C sort | xargs -d '\\n' sha256sum | sha256sum | cut -d ' ' -f 1";

    [Fact]
    [Trait("Kind", "Outside")]
    public void Folder_record_and_general_tools_agree()
    {
        using var folder = new TestFolder();
        using var key = SigningKey.Create();
        var statement = SampleRun.Write(folder.Path, key);
        File.WriteAllText(folder["label.pdf"], "a paper");
        var fromRecord = RunCode.Of(statement);
        RunCode.Of(folder.Path, SampleRun.Facts(), RunContext.Default).Should().Be(fromRecord);
        Tool.Run(folder.Path, "bash", "-c", ByHand).Output.Trim().Should().Be(fromRecord.FilesSha256);
        fromRecord.Text.Should().Be($"anatomyprep-run:{SampleRun.Facts().RunId}:{fromRecord.FilesSha256}");
        // Before run.json is written it counts as it will be.
        File.Delete(folder["run.json"]);
        RunCode.Of(folder.Path, SampleRun.Facts(), RunContext.Default).Should().Be(fromRecord);
    }

    [Fact]
    public void Any_other_file_or_fact_gives_another_code_and_papers_do_not()
    {
        using var folder = new TestFolder();
        using var key = SigningKey.Create();
        SampleRun.Write(folder.Path, key);
        var first = RunCode.Of(folder.Path, SampleRun.Facts(), RunContext.Default);
        File.WriteAllText(folder["report.pdf"], "another report");
        RunCode.Of(folder.Path, SampleRun.Facts(), RunContext.Default).Should().Be(first);
        RunCode.Of(folder.Path, SampleRun.Facts() with { SharedMm3 = 1 }, RunContext.Default).FilesSha256.Should().NotBe(first.FilesSha256);
        File.WriteAllText(folder["preview.png"], "another picture");
        RunCode.Of(folder.Path, SampleRun.Facts(), RunContext.Default).FilesSha256.Should().NotBe(first.FilesSha256);
    }
}
