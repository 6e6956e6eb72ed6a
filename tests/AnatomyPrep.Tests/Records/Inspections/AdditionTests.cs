using System.Text;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Envelopes;
using AnatomyPrep.Records.Inspections;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Tests.Records.Inspections;

public sealed class AdditionTests
{
    private static readonly SigningKey s_key = SigningKey.Create();

    [Fact]
    public void Three_additions_hold_and_stand_in_order()
    {
        using var run = Inspected(3);
        var report = Verify(run);
        report.Failed.Should().BeEmpty();
        report.Additions.Select(a => a.Number).Should().Equal(1, 2, 3);
        report.Additions[1].Inspection.PreviousSha256.Should().Be(report.Additions[0].Sha256);
        report.Additions[0].Inspection.PreviousSha256.Should().BeNull();
        report.Additions[2].Inspection.Caliper!.Distances.Should().HaveCount(3);
        Directory.GetFileSystemEntries(Path.GetDirectoryName(run.Path)!, $".{Path.GetFileName(run.Path)}*").Should().BeEmpty("nothing is left aside");
    }

    /// <summary>What may be left out is left out, and read again: one distance along an axis, read once, with a caliper nobody named; a scan that is a surface.</summary>
    [Fact]
    public void Additions_with_nothing_but_what_is_needed_hold()
    {
        using var run = Inspected(0);
        CaliperReading[] distances = [new("X1", "x", Vec3.Zero, new(20, 0, 0), 20, 0.05, [20.1]), new("Y1", "y", Vec3.Zero, new(0, 30, 0), 30, 0.05, [30])];
        AdditionWriter.Write(run.Path, Verify(run), Facts() with { Caliper = CaliperFacts.Of("sheet", null, null, distances) }, [], s_key);
        var scan = new RescanFacts(
            SampleRun.Facts().Source, [new(1, 0, 0), new(0, 1, 0), new(0, 0, 1), Vec3.Zero], 0.1, 0.1, 3, 1, 0.9, 0, 0.1, -0.2, 0, 0.2, 0.25, 0.6, Vec3.Zero);
        AdditionWriter.Write(run.Path, Verify(run), Facts() with { Caliper = null, Scan = scan }, [], s_key);
        var report = Verify(run);
        report.Failed.Should().BeEmpty();
        report.Additions.Should().HaveCount(2);
        report.Additions[1].Inspection.LargestMm().Should().Be(0.6);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Every_byte_changed_in_an_addition_is_detected_and_named()
    {
        using var run = Inspected(1);
        foreach (var name in (string[])["addition.json", "addition.pub.pem", "inspection.json", "readings.csv"])
        {
            var path = run[$"additions/0001/{name}"];
            var bytes = File.ReadAllBytes(path);
            for (var offset = 0; offset < bytes.Length; offset += 1 + (bytes.Length / 150))
            {
                bytes[offset] ^= 1;
                File.WriteAllBytes(path, bytes);
                bytes[offset] ^= 1;
                Verify(run).Failed.Should().Contain(f => f.Thing.StartsWith($"additions/0001/{name}", StringComparison.Ordinal), "byte {0} of {1}", offset, name);
            }

            File.WriteAllBytes(path, bytes);
        }

        Verify(run).Holds.Should().BeTrue();
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void One_removed_from_the_middle_is_told_and_so_is_closing_the_gap()
    {
        using var run = Inspected(3);
        Directory.Delete(run["additions/0002"], recursive: true);
        var report = Verify(run);
        report.Failed.Select(f => (f.Thing, f.Check)).Should().Contain(("additions/0002", RecordChecks.Present)).And.Contain(("additions/0003/addition.json", RecordChecks.Chain));
        Directory.Move(run["additions/0003"], run["additions/0002"]);
        Verify(run).Failed.Should().Contain(f => f.Thing == "additions/0002/addition.json" && f.Check == RecordChecks.Chain && f.Expected.StartsWith("number", StringComparison.Ordinal));
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Two_that_changed_places_are_told()
    {
        using var run = Inspected(2);
        Directory.Move(run["additions/0001"], run["additions/aside"]);
        Directory.Move(run["additions/0002"], run["additions/0001"]);
        Directory.Move(run["additions/aside"], run["additions/0002"]);
        Verify(run).Failed.Where(f => f.Check == RecordChecks.Chain).Select(f => f.Thing).Distinct().Should().Equal("additions/0001/addition.json", "additions/0002/addition.json");
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void An_addition_of_another_record_is_told()
    {
        using var other = Inspected(1, SampleRun.Facts());
        using var run = Inspected(0);
        Directory.CreateDirectory(run["additions"]);
        Directory.Move(other["additions/0001"], run["additions/0001"]);
        Verify(run).Failed.Should().Contain(f => f.Check == RecordChecks.Chain && f.Found.StartsWith("record.json", StringComparison.Ordinal));
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_key_that_is_not_trusted_is_told_and_one_that_is_holds()
    {
        using var run = Inspected(0);
        using var inspector = SigningKey.Create();
        AdditionWriter.Write(run.Path, Verify(run), Facts(), [], inspector);
        using var trusted = s_key.PublicKey();
        using var known = inspector.PublicKey();
        RecordVerifier.Verify(run.Path, trusted, null, RunContext.Default).Failed.Should().Contain(f => f.Thing == "additions/0001/addition.json" && f.Check == RecordChecks.Signature);
        RecordVerifier.Verify(run.Path, trusted, null, RunContext.Default, [known]).Holds.Should().BeTrue();
        var report = Verify(run);
        report.Holds.Should().BeTrue();
        report.Notes.Should().Contain(n => n.Contains("another key", StringComparison.Ordinal));
    }

    /// <summary>Signed by the right key, but saying what its own figures do not: nobody is believed over the readings.</summary>
    [Fact]
    [Trait("Kind", "Hostile")]
    public void An_outcome_that_does_not_follow_from_the_readings_is_told()
    {
        foreach (var lie in (Func<InspectionFacts, InspectionFacts>[])[
            f => f with { Passed = !f.Passed },
            f => f with { Caliper = f.Caliper! with { Agreement = f.Caliper.Agreement with { BiasMm = 0 } } },
            f => f with { Caliper = f.Caliper! with { Scales = [f.Caliper.Scales[0] with { Scale = 1 }] } },
        ])
        {
            using var run = Inspected(0);
            AdditionWriter.Write(run.Path, Verify(run), lie(Facts()), [], s_key);
            Verify(run).Failed.Should().NotBeEmpty().And.OnlyContain(f => f.Check == RecordChecks.Computed);
        }
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Strange_files_among_additions_are_told()
    {
        using var run = Inspected(1);
        foreach (var name in (string[])["additions/0001/more.txt", "additions/note.txt", "additions/x/y", "additions/99999/addition.json", "additions/0000/addition.json"])
        {
            Directory.CreateDirectory(Path.GetDirectoryName(run[name])!);
            File.WriteAllText(run[name], "x");
            Verify(run).Failed.Select(f => f.Thing).Should().Contain(name);
            File.Delete(run[name]);
        }
    }

    [Fact]
    public void A_folder_that_does_not_hold_takes_no_addition()
    {
        using var run = Inspected(1);
        File.AppendAllText(run["model.stl"], "x");
        FluentActions.Invoking(() => AdditionWriter.Write(run.Path, Verify(run), Facts(), [], s_key)).Should().Throw<CheckFailedException>();
        Directory.Exists(run["additions/0002"]).Should().BeFalse();
    }

    [Fact]
    public void Of_two_that_add_at_once_the_second_fails_and_nothing_is_lost()
    {
        using var run = Inspected(1);
        var before = Verify(run);
        AdditionWriter.Write(run.Path, before, Facts(), [], s_key);
        FluentActions.Invoking(() => AdditionWriter.Write(run.Path, before, Facts(), [], s_key)).Should().Throw<IOException>();
        Verify(run).Holds.Should().BeTrue();
    }

    private static VerificationReport Verify(TestFolder run) => RecordVerifier.Verify(run.Path, null, null, RunContext.Default);

    private static TestFolder Inspected(int additions, RunFacts? facts = null)
    {
        var run = new TestFolder();
        SampleRun.Write(run.Path, s_key, facts ?? SampleRun.SmallFacts());
        for (var i = 0; i < additions; i++)
            AdditionWriter.Write(run.Path, Verify(run), Facts(), [new("readings.csv", Encoding.UTF8.GetBytes($"reading {i}\n"))], s_key);
        return run;
    }

    /// <summary>Invented: three lengths, each a little too large.</summary>
    private static InspectionFacts Facts()
    {
        CaliperReading[] distances = [.. Enumerable.Range(0, 3).Select(i => new CaliperReading($"X{i + 1}", "x", Vec3.Zero, new(20 + i, 0, 0), 20 + i, 0.05, [20.1 + i, 20.12 + i]))];
        var facts = new InspectionFacts
        {
            Number = 0,
            Record = new("", ""),
            At = SampleRun.Start,
            Software = "AnatomyPrep 0.1.0 unknown",
            ModelFile = "model.stl",
            Purpose = Purpose.Education,
            ToleranceMm = 1,
            Passed = true,
            Caliper = CaliperFacts.Of("sheet", "caliper-3", new(2027, 1, 31), distances),
            Findings = [],
        };
        facts.Passes().Should().BeTrue();
        return facts;
    }
}
