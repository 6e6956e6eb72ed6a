using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Envelopes;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Tests.Records.Statements;

/// <summary>Runs the code blocks of docs/quality-officer/check-a-record.md as they stand there.</summary>
public sealed class CheckARecordPageTests
{
    private static readonly SigningKey s_key = SigningKey.Create();

    [Fact]
    [Trait("Kind", "Outside")]
    public void Shell_block_verifies_the_signature_and_prints_the_fingerprint()
    {
        using var run = new TestFolder();
        SampleRun.Write(run.Path, s_key);
        var result = Tool.Run(run.Path, "sh", "-c", Block("sh"));
        result.ExitCode.Should().Be(0);
        result.Output.Should().Be($"Verified OK\n{s_key.KeyId}  -\n");
        RecordVerifier.Verify(run.Path, null, null, RunContext.Default).Holds.Should().BeTrue("because the block leaves nothing behind");
    }

    [Fact]
    [Trait("Kind", "Outside")]
    public void Python_page_agrees_that_a_record_holds()
    {
        using var run = new TestFolder();
        using var other = new TestFolder();
        SampleRun.Write(run.Path, s_key);
        Check(run.Path).Should().Be((0, $"holds, signed with {s_key.KeyId}\n"));
        File.WriteAllText(other["trusted.pem"], s_key.PublicPem);
        Check(run.Path, other["trusted.pem"]).ExitCode.Should().Be(0);
        using var stranger = SigningKey.Create();
        File.WriteAllText(other["stranger.pem"], stranger.PublicPem);
        Check(run.Path, other["stranger.pem"]).ExitCode.Should().Be(1);
    }

    [Fact]
    [Trait("Kind", "Outside")]
    public void Python_page_and_verifier_name_the_same_changed_file()
    {
        using var run = new TestFolder();
        SampleRun.Write(run.Path, s_key);
        var random = new Random(11);
        foreach (var name in new[] { "model.stl", "run.json", "sections/axial.png", "record.json", "record.json", "record.pub.pem", "record.pub.pem" })
        {
            var bytes = File.ReadAllBytes(run[name]);
            var changed = bytes.ToArray();
            changed[random.Next(bytes.Length)] ^= 1;
            File.WriteAllBytes(run[name], changed);
            var (exitCode, output) = Check(run.Path);
            exitCode.Should().Be(1);
            output.Should().Contain(name);
            RecordVerifier.Verify(run.Path, null, null, RunContext.Default).Failed.Select(c => c.Thing.Split(' ')[0]).Should().Contain(name);
            File.WriteAllBytes(run[name], bytes);
        }
    }

    [Fact]
    [Trait("Kind", "Outside")]
    public void Python_page_finds_lost_and_added_files_and_signed_lies()
    {
        using var run = new TestFolder();
        var statement = SampleRun.Write(run.Path, s_key);
        File.Move(run["model.stl"], run["other.stl"]);
        Check(run.Path).Output.Should().Contain("model.stl: missing").And.Contain("other.stl: not in the record");
        File.Move(run["other.stl"], run["model.stl"]);
        var text = System.Text.Encoding.UTF8.GetString(statement.ToBytes());
        foreach (var (from, to, named) in new[]
        {
            ($"\"runId\":\"{statement.Run.RunId}\"", "\"runId\":\"00\"", "runId"),
            ("plan: bone", "plan: skin", "plan.sha256"),
            (SampleRun.Sha256("slice 2"), SampleRun.Sha256("slice 4"), "source.treeSha256"),
            ("\"volumeMm3\":509987.75", "\"volumeMm3\":509987.5", "run.json"),
        })
        {
            text.Should().Contain(from);
            var lie = System.Text.Encoding.UTF8.GetBytes(text.Replace(from, to, StringComparison.Ordinal));
            File.WriteAllBytes(run[RecordFiles.Record], Dsse.Sign(Dsse.InTotoPayloadType, lie, s_key).ToBytes());
            Check(run.Path).Output.Should().Contain(named);
        }
    }

    private static (int ExitCode, string Output) Check(string folder, params string[] key) =>
        Tool.Run(folder, "python3", ["-c", Block("python"), folder, .. key]);

    private static string Block(string language)
    {
        var page = File.ReadAllText(Path.Combine(Repository.Root, "docs", "quality-officer", "check-a-record.md"));
        var fence = $"```{language}\n";
        var from = page.IndexOf(fence, StringComparison.Ordinal) + fence.Length;
        return page[from..page.IndexOf("```", from, StringComparison.Ordinal)];
    }
}
