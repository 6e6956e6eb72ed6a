using System.Text.Json;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Phantoms.Catalogue;

namespace AnatomyPrep.Tests.App;

/// <summary>The whole job through the real program, on a phantom of analytic shapes.</summary>
public sealed class WholeJobTests : IDisposable
{
    private readonly TestFolder _folder = new();

    private string Home => _folder["home"];

    public void Dispose() => _folder.Dispose();

    [Fact]
    public void Prepare_verify_tamper_and_replay()
    {
        var images = WriteShells();
        var result = _folder["result"];

        var prepared = TestProgram.Run(Home, "prepare", images, "--plan", "bone", "--out", result, "--json");
        prepared.ExitCode.Should().Be(0, prepared.Errors);
        using (var json = JsonDocument.Parse(prepared.Output))
            json.RootElement.GetProperty("measurements").GetProperty("mesh").GetProperty("solid").GetBoolean().Should().BeTrue();
        foreach (var file in new[] { "model.stl", "model.3mf", "model.ply", "model.glb", "model.dcm", "preview.png", "deviation.png", "sections/deviation-axial.png", "sections/deviation-coronal.png", "sections/deviation-sagittal.png", "report.pdf", "label.pdf", "run.json", "record.json", "record.pub.pem" })
            File.Exists(Path.Combine(result, file)).Should().BeTrue("of {0}", file);
        Directory.GetFiles(Path.Combine(result, "sections")).Should().HaveCountGreaterThanOrEqualTo(3);

        using (var check = JsonDocument.Parse(TestProgram.Run(Home, "check", Path.Combine(result, "model.stl"), "--json").Output))
        {
            check.RootElement.GetProperty("solid").GetBoolean().Should().BeTrue();
            check.RootElement.GetProperty("nonManifoldEdges").GetInt32().Should().Be(0);
            check.RootElement.GetProperty("boundaryLoops").GetInt32().Should().Be(0);
        }

        TestProgram.Run(Home, "verify", result).ExitCode.Should().Be(0);
        var agrees = TestProgram.Run(Home, "verify", result, "--source", images, "--model", Path.Combine(result, "model.ply"));
        agrees.Should().Match<(int ExitCode, string Output, string Errors)>(r => r.ExitCode == 0 && r.Output.Contains("agrees with the source"));
        TestProgram.Run(Home, "replay", result).Should().Match<(int ExitCode, string Output, string Errors)>(r => r.ExitCode == 0 && r.Output.Contains("identical bytes"));
        TestProgram.Run(Home, processors: 1, "replay", result).ExitCode.Should().Be(0);

        var label = _folder["label.pdf"];
        TestProgram.Run(Home, "label", result, "--out", label).ExitCode.Should().Be(0);
        File.ReadAllBytes(label).Should().Equal(File.ReadAllBytes(Path.Combine(result, "label.pdf")));
        TestProgram.Run(Home, "label", result, "--out", label).ExitCode.Should().Be(3, "a file that is there is never overwritten");
        TestProgram.Run(Home, "verify", result, "--code", "anatomyprep-run:of:another").Should().Match<(int ExitCode, string Output, string Errors)>(r => r.ExitCode == 1 && r.Output.Contains("code on paper"));

        Flip(Path.Combine(result, "model.3mf"));
        TestProgram.Run(Home, "label", result, "--out", _folder["other.pdf"]).ExitCode.Should().Be(1, "no label from a record that does not hold");
        File.Exists(_folder["other.pdf"]).Should().BeFalse();
        var tampered = TestProgram.Run(Home, "verify", result);
        tampered.ExitCode.Should().Be(1);
        tampered.Output.Should().Contain("model.3mf");
        // Below the folder that was named, nothing unfinished may lie about.
        Directory.GetFileSystemEntries(_folder.Path, ".*").Should().BeEmpty();
    }

    [Fact]
    public void Wrong_plans_end_2_and_name_the_line()
    {
        var plan = _folder["mine.yaml"];
        File.WriteAllText(plan, "plan: p\nversion: 1\nsteps:\n  - threshold: { lowerHu: 99999 }\n");
        var run = TestProgram.Run(Home, "prepare", _folder.Path, "--plan", plan, "--out", _folder["result"]);
        run.ExitCode.Should().Be(2);
        run.Errors.Should().Contain("mine.yaml line 4").And.Contain("32767");
        Directory.Exists(_folder["result"]).Should().BeFalse();
    }

    [Theory]
    [InlineData("prepare")]
    [InlineData("polish", "x")]
    [InlineData("check", "a", "b")]
    [InlineData("verify", "a", "--model", "b")]
    [InlineData("verify", "a", "--source", "c", "--model", "b", "--tolerance-mm", "0")]
    public void Wrong_usage_ends_2(params string[] arguments) => TestProgram.Run(Home, arguments).ExitCode.Should().Be(2);

    [Fact]
    public void Empty_and_text_folders_end_3_and_leave_nothing()
    {
        var empty = Directory.CreateDirectory(_folder["empty"]).FullName;
        var text = Directory.CreateDirectory(_folder["text"]).FullName;
        File.WriteAllText(Path.Combine(text, "notes.txt"), "not an image");
        foreach (var source in new[] { empty, text, _folder["absent"] })
        {
            var run = TestProgram.Run(Home, "prepare", source, "--plan", "bone", "--out", _folder["result"]);
            run.ExitCode.Should().Be(3, run.Errors);
            run.Errors.Should().NotBeEmpty();
        }

        Directory.GetFileSystemEntries(_folder.Path).Select(Path.GetFileName).Should().BeEquivalentTo("empty", "text", "home");
    }

    [Fact]
    public void A_threshold_above_everything_ends_3_with_the_reason()
    {
        var plan = _folder["high.yaml"];
        File.WriteAllText(plan, "plan: p\nversion: 1\nsteps:\n  - threshold: { lowerHu: 30000 }\n  - surface\n");
        var run = TestProgram.Run(Home, "prepare", WriteShells(), "--plan", plan, "--out", _folder["result"]);
        run.ExitCode.Should().Be(3);
        run.Errors.Should().Contain("30000");
        Directory.Exists(_folder["result"]).Should().BeFalse();
    }

    private string WriteShells()
    {
        var images = _folder["images"];
        PhantomCatalogue.Create("shells").WriteWithTruth(images, RunContext.Default);
        return images;
    }

    private static void Flip(string path)
    {
        var bytes = File.ReadAllBytes(path);
        bytes[bytes.Length / 2] ^= 1;
        File.WriteAllBytes(path, bytes);
    }
}
