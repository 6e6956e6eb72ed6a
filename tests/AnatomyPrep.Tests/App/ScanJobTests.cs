using System.Security.Cryptography;
using System.Text.Json;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Formats;
using AnatomyPrep.Tests.Meshing;

namespace AnatomyPrep.Tests.App;

/// <summary>The job from a surface scan and further meshes, through the real program.</summary>
public sealed class ScanJobTests : IDisposable
{
    private readonly TestFolder _folder = new();

    private string Home => _folder["home"];

    public void Dispose() => _folder.Dispose();

    [Fact]
    public void Record_names_the_scan_its_parts_and_what_was_said_and_a_replay_gives_the_same_bytes()
    {
        var scan = WriteBall("scan.stl", 40);
        var peg = WriteBall("peg.stl", 5);
        var result = _folder["result"];

        var made = TestProgram.Run(Home, "prepare", scan, "--plan", Plan("  - orient"), "--out", result, "--part", $"peg={peg}", "--unit", "mm", "--anatomy", "ear");
        made.ExitCode.Should().Be(0, made.Errors);

        using (var run = JsonDocument.Parse(File.ReadAllText(Path.Combine(result, "run.json"))))
        {
            var source = run.RootElement.GetProperty("source");
            source.GetProperty("stated").GetProperty("unit").GetString().Should().Be("millimetres");
            source.GetProperty("stated").GetProperty("anatomy").GetString().Should().Be("ear");
            var part = source.GetProperty("parts")[0];
            part.GetProperty("name").GetString().Should().Be("peg");
            source.GetProperty("files")[part.GetProperty("file").GetInt32()].GetProperty("sha256").GetString()
                .Should().Be(Convert.ToHexStringLower(SHA256.HashData(File.ReadAllBytes(peg))));
        }

        TestProgram.Run(Home, "verify", result).ExitCode.Should().Be(0);
        TestProgram.Run(Home, "replay", result).ExitCode.Should().Be(0);
        File.Move(peg, _folder["moved.stl"]);
        TestProgram.Run(Home, "replay", result).Should().Match<(int ExitCode, string Output, string Errors)>(r => r.ExitCode == 3);
        TestProgram.Run(Home, "replay", result, "--part", $"peg={_folder["moved.stl"]}").ExitCode.Should().Be(0);
    }

    [Fact]
    public void A_replay_repeats_the_finding_that_no_unit_was_said()
    {
        var result = _folder["result"];
        var made = TestProgram.Run(Home, "prepare", WriteBall("scan.stl", 40), "--plan", Plan("  - orient"), "--out", result);
        made.Errors.Should().Contain("unit-unknown");
        TestProgram.Run(Home, "replay", result).ExitCode.Should().Be(0);
    }

    [Theory]
    [InlineData(4)]
    [InlineData(4000)]
    public void A_head_of_8_mm_or_8_m_without_a_unit_is_refused(double radiusMm)
    {
        var run = TestProgram.Run(Home, "prepare", WriteBall("scan.stl", radiusMm), "--plan", Plan("  - orient"), "--out", _folder["result"], "--anatomy", "head");
        run.ExitCode.Should().Be(3);
        run.Errors.Should().Contain("size-implausible");
        Directory.Exists(_folder["result"]).Should().BeFalse();
    }

    [Fact]
    public void Points_are_told_from_meshes_and_a_plan_for_images_says_what_is_missing()
    {
        var points = _folder["points.xyz"];
        File.WriteAllText(points, "0 0 0\n10 0 0\n0 10 0\n");
        using (var listing = JsonDocument.Parse(TestProgram.Run(Home, "inspect", points, "--json").Output))
            listing.RootElement.GetProperty("points").GetInt32().Should().Be(3);
        var run = TestProgram.Run(Home, "prepare", points, "--plan", "bone", "--out", _folder["result"]);
        run.ExitCode.Should().Be(2);
        run.Errors.Should().Contain("images");
    }

    [Theory]
    [InlineData("peg")]
    [InlineData("=peg.stl")]
    [InlineData("a b=peg.stl")]
    [InlineData("peg=")]
    public void Parts_without_name_or_file_are_wrong_usage(string part) =>
        TestProgram.Run(Home, "prepare", WriteBall("scan.stl", 40), "--plan", Plan("  - orient"), "--out", _folder["result"], "--part", part).ExitCode.Should().Be(2);

    [Fact]
    public void Check_lists_the_rims_by_the_numbers_a_plan_names_them_with()
    {
        var open = _folder["open.ply"];
        PlyFormat.Write(TestMeshes.Icosphere(3, 20).Without(100).Without(0), open, "", RunContext.Default);
        var run = TestProgram.Run(Home, "check", open, "--json");
        run.ExitCode.Should().Be(1);
        using var check = JsonDocument.Parse(run.Output);
        var holes = check.RootElement.GetProperty("holes").EnumerateArray().ToList();
        holes.Select(h => (h.GetProperty("number").GetInt32(), h.GetProperty("edges").GetInt32())).Should().Equal((0, 3), (1, 3));
    }

    private string Plan(string steps)
    {
        var path = _folder["plan.yaml"];
        File.WriteAllText(path, $"plan: scan\nversion: 1\nsteps:\n{steps}\n");
        return path;
    }

    private string WriteBall(string name, double radiusMm)
    {
        var path = _folder[name];
        StlFormat.Write(TestMeshes.Icosphere(3, radiusMm), path, "", RunContext.Default);
        return path;
    }
}
