using System.Text;
using System.Text.Json.Nodes;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Canonical;
using AnatomyPrep.Records.Envelopes;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Tests.Records.Statements;

public sealed class RecordVerifierTests
{
    private static readonly SigningKey s_key = SigningKey.Create();

    [Fact]
    public void A_record_just_written_holds()
    {
        using var run = new TestFolder();
        var statement = SampleRun.Write(run.Path, s_key);
        foreach (var path in new[] { run.Path, run[RecordFiles.Record] })
        {
            var report = RecordVerifier.Verify(path, null, null, RunContext.Default);
            report.Failed.Should().BeEmpty();
            report.Holds.Should().BeTrue();
            report.Trust.Should().Be(SignerTrust.KeyBesideRecord);
            report.SignerKeyId.Should().Be(s_key.KeyId);
            report.Notes.Should().ContainSingle().Which.Should().Contain("not who signed");
            report.Statement!.ToBytes().Should().Equal(statement.ToBytes());
            report.Checks.Where(c => c.Check == RecordChecks.Hash).Select(c => c.Thing)
                .Should().Equal("empty.txt", "model.stl", "preview.png", "report.pdf", "run.json", "sections/axial.png");
        }
    }

    [Fact]
    public void A_trusted_key_shows_who_signed()
    {
        using var run = new TestFolder();
        SampleRun.Write(run.Path, s_key);
        using var key = s_key.PublicKey();
        var report = RecordVerifier.Verify(run.Path, key, null, RunContext.Default);
        report.Holds.Should().BeTrue();
        report.Trust.Should().Be(SignerTrust.TrustedKey);
        report.Notes.Should().BeEmpty();
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_whole_record_forged_with_another_key_fails_against_the_trusted_one()
    {
        using var run = new TestFolder();
        using var forger = SigningKey.Create();
        using var trusted = s_key.PublicKey();
        SampleRun.Write(run.Path, forger);
        RecordVerifier.Verify(run.Path, null, null, RunContext.Default).Holds.Should().BeTrue();
        var report = RecordVerifier.Verify(run.Path, trusted, null, RunContext.Default);
        report.Holds.Should().BeFalse();
        report.Trust.Should().Be(SignerTrust.None);
        Things(report).Should().Contain((RecordFiles.Record, RecordChecks.Signature));
    }

    /// <summary>
    /// At every offset the lowest bit, which keeps most digits digits. In the two files that no hash covers also the bit of
    /// letter case, and in the key file every bit.
    /// </summary>
    [Theory]
    [InlineData(0x01, true)]
    [InlineData(0x20, false)]
    [Trait("Kind", "Hostile")]
    public void Every_single_byte_change_of_every_file_is_detected_and_named(byte mask, bool allFiles)
    {
        var withTrustedKey = allFiles;
        using var run = new TestFolder();
        SampleRun.Write(run.Path, s_key, SampleRun.SmallFacts());
        using var trusted = withTrustedKey ? s_key.PublicKey() : null;
        var changes = 0;
        foreach (var name in Names(run.Path).Where(n => allFiles || n is RecordFiles.Record or RecordFiles.PublicKey))
        {
            var bytes = File.ReadAllBytes(run[name]);
            foreach (var bits in name == RecordFiles.PublicKey ? [1, 2, 4, 8, 16, 32, 64, 128] : new[] { mask })
            {
                for (var offset = 0; offset < bytes.Length; offset++)
                {
                    bytes[offset] ^= bits;
                    File.WriteAllBytes(run[name], bytes);
                    bytes[offset] ^= bits;
                    AssertNamed(run.Path, trusted, name, $"byte {offset} changed by {bits}");
                    changes++;
                }
            }

            File.WriteAllBytes(run[name], bytes);
        }

        changes.Should().BeGreaterThan(4000);
        RecordVerifier.Verify(run.Path, trusted, null, RunContext.Default).Holds.Should().BeTrue();
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Every_byte_left_out_or_put_in_is_detected_and_named()
    {
        using var run = new TestFolder();
        SampleRun.Write(run.Path, s_key, SampleRun.SmallFacts());
        foreach (var name in Names(run.Path))
        {
            var bytes = File.ReadAllBytes(run[name]);
            for (var offset = 0; offset <= bytes.Length; offset += 1 + (bytes.Length / 100))
            {
                byte[] longer = [.. bytes[..offset], (byte)' ', .. bytes[offset..]];
                byte[][] variants = offset < bytes.Length ? [longer, [.. bytes[..offset], .. bytes[(offset + 1)..]], bytes[..offset]] : [longer];
                foreach (var variant in variants)
                {
                    File.WriteAllBytes(run[name], variant);
                    AssertNamed(run.Path, null, name, $"byte {offset}");
                }
            }

            File.WriteAllBytes(run[name], bytes);
        }
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_lost_a_new_and_a_linked_file_are_named()
    {
        using var run = new TestFolder();
        SampleRun.Write(run.Path, s_key);
        File.Delete(run["model.stl"]);
        File.WriteAllText(run["sections/more.png"], "x");
        File.Move(run["preview.png"], run["preview2.png"]);
        File.CreateSymbolicLink(run["preview.png"], run["preview2.png"]);
        var report = RecordVerifier.Verify(run.Path, null, null, RunContext.Default);
        Things(report).Should().BeEquivalentTo(new[]
        {
            ("model.stl", RecordChecks.Present),
            ("preview.png", RecordChecks.Present),
            ("preview2.png", RecordChecks.Expected),
            ("sections/more.png", RecordChecks.Expected),
        });
    }

    [Fact]
    public void What_was_expected_and_what_was_found_is_said()
    {
        using var run = new TestFolder();
        SampleRun.Write(run.Path, s_key);
        File.WriteAllText(run["report.pdf"], "other");
        var failed = RecordVerifier.Verify(run.Path, null, null, RunContext.Default).Failed.ToList();
        failed.Should().Equal(
            new RecordCheck("report.pdf", RecordChecks.Size, false, "bytes 24", "bytes 5"),
            new RecordCheck(
                "report.pdf",
                RecordChecks.Hash,
                false,
                $"SHA-256 {SampleRun.Sha256("%PDF stands for a report")}",
                $"SHA-256 {SampleRun.Sha256("other")}"));
    }

    [Theory]
    [InlineData(RecordFiles.PublicKey)]
    [InlineData(RecordFiles.Run)]
    [Trait("Kind", "Hostile")]
    public void The_records_own_files_must_be_there(string name)
    {
        using var run = new TestFolder();
        SampleRun.Write(run.Path, s_key);
        using var trusted = s_key.PublicKey();
        File.Delete(run[name]);
        var report = RecordVerifier.Verify(run.Path, trusted, null, RunContext.Default);
        report.Trust.Should().Be(SignerTrust.TrustedKey);
        report.Failed.Select(c => c.Thing).Should().Equal(name);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Without_a_record_there_is_nothing_to_verify()
    {
        using var run = new TestFolder();
        foreach (var path in new[] { run.Path, run["record.json"], run["no/such/record.json"] })
        {
            var verify = () => RecordVerifier.Verify(path, null, null, RunContext.Default);
            verify.Should().Throw<BadInputException>();
        }
    }

    /// <summary>The signer is honest about the signature and lies in the statement: each lie is found without the signature's help.</summary>
    [Theory]
    [InlineData("warning", "\"For everything\"", "warning")]
    [InlineData("runId", "\"00\"", "runId")]
    [InlineData("plan/sha256", "\"00\"", "plan.sha256")]
    [InlineData("plan/text", "\"plan: skin\"", "plan.sha256")]
    [InlineData("source/treeSha256", "\"00\"", "source.treeSha256")]
    [InlineData("source/files/0/sha256", "\"0000000000000000000000000000000000000000000000000000000000000000\"", "source.treeSha256")]
    [InlineData("finishedAt", "\"2026-03-02T08:15:00.249Z\"", "finishedAt")]
    [InlineData("measurements/mesh/volumeMm3", "1", "run.json /measurements/mesh/volumeMm3")]
    [InlineData("findings", "[]", "run.json /findings")]
    [InlineData("unknown", "1", "run.json /unknown")]
    [Trait("Kind", "Hostile")]
    public void A_signed_lie_is_named(string field, string json, string named)
    {
        using var run = new TestFolder();
        var statement = JsonNode.Parse(SampleRun.Write(run.Path, s_key).ToBytes())!;
        var steps = field.Split('/');
        var parent = steps[..^1].Aggregate(statement["predicate"]!, (node, step) => node is JsonArray items ? items[int.Parse(step, null)]! : node[step]!);
        parent[steps[^1]] = JsonNode.Parse(json);
        Sign(run, CanonicalJson.Write(statement));
        var report = RecordVerifier.Verify(run.Path, null, null, RunContext.Default);
        report.Trust.Should().Be(SignerTrust.KeyBesideRecord);
        report.Failed.Select(c => c.Thing).Should().Contain(named);
    }

    [Fact]
    public void Source_files_are_found_by_content_whatever_their_names_and_missing_ones_are_numbered()
    {
        using var run = new TestFolder();
        using var source = new TestFolder();
        SampleRun.Write(run.Path, s_key);
        for (var i = 0; i < SampleRun.SourceTexts.Length; i++)
            File.WriteAllText(source[$"z{9 - i}.dcm"], SampleRun.SourceTexts[i]);
        File.WriteAllText(source["readme.txt"], "not of the series");
        RecordVerifier.Verify(run.Path, null, source.Path, RunContext.Default).Failed.Should().BeEmpty();
        File.WriteAllText(source["z8.dcm"], "slice 2 changed");
        RecordVerifier.Verify(run.Path, null, source.Path, RunContext.Default).Failed.Select(c => c.Thing)
            .Should().Equal("source file 2 of 3");
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_second_signature_cannot_be_slipped_in()
    {
        using var run = new TestFolder();
        using var other = SigningKey.Create();
        var payload = SampleRun.Write(run.Path, s_key).ToBytes();
        File.WriteAllBytes(run[RecordFiles.Record], Dsse.Sign(Dsse.InTotoPayloadType, payload, s_key, other).ToBytes());
        Things(RecordVerifier.Verify(run.Path, null, null, RunContext.Default)).Should().Equal((RecordFiles.Record, RecordChecks.Envelope));
    }

    /// <summary>Payloads with a valid signature but damaged content: the verifier reports, and never throws.</summary>
    [Fact]
    [Trait("Kind", "Hostile")]
    public void No_signed_payload_makes_the_verifier_throw()
    {
        using var run = new TestFolder();
        var payload = SampleRun.Write(run.Path, s_key).ToBytes();
        var random = new Random(7);
        for (var i = 0; i < 400; i++)
        {
            var changed = payload.ToArray();
            for (var n = random.Next(1, 4); n > 0; n--)
                changed[random.Next(changed.Length)] = (byte)"{}[],:\"0-9eE.nulltrue\\ "[random.Next(22)];
            Sign(run, i % 3 == 0 ? changed[..random.Next(changed.Length)] : changed);
            var report = RecordVerifier.Verify(run.Path, null, null, RunContext.Default);
            report.Trust.Should().Be(SignerTrust.KeyBesideRecord);
        }
    }

    [Theory]
    [InlineData("")]
    [InlineData("{")]
    [InlineData("{\"payload\":\"bm8=\",\"payloadType\":\"t\",\"signatures\":[{\"sig\":\"AA==\"}]}")]
    [Trait("Kind", "Hostile")]
    public void A_file_that_is_no_record_is_reported_and_not_thrown(string content)
    {
        using var run = new TestFolder();
        SampleRun.Write(run.Path, s_key);
        File.WriteAllText(run[RecordFiles.Record], content);
        var report = RecordVerifier.Verify(run.Path, null, null, RunContext.Default);
        report.Holds.Should().BeFalse();
        report.Failed.Select(c => c.Thing).Should().Contain(RecordFiles.Record);
    }

    [Fact]
    public void Verifying_can_be_cancelled()
    {
        using var run = new TestFolder();
        SampleRun.Write(run.Path, s_key);
        using var cancel = new CancellationTokenSource();
        cancel.Cancel();
        var verify = () => RecordVerifier.Verify(run.Path, null, null, new RunContext(cancellation: cancel.Token));
        verify.Should().Throw<OperationCanceledException>();
    }

    private static void AssertNamed(string folder, VerificationKey? trusted, string name, string change)
    {
        var report = RecordVerifier.Verify(folder, trusted, null, RunContext.Default);
        if (report.Holds || !report.Failed.Any(c => c.Thing.Split(' ')[0] == name))
            throw new Xunit.Sdk.XunitException($"{name}, {change}: reported {string.Join(", ", report.Failed)}");
    }

    private static void Sign(TestFolder run, byte[] payload) =>
        File.WriteAllBytes(run[RecordFiles.Record], Dsse.Sign(Dsse.InTotoPayloadType, payload, s_key).ToBytes());

    private static List<string> Names(string folder) =>
        [.. Directory.GetFiles(folder, "*", SearchOption.AllDirectories).Select(f => Path.GetRelativePath(folder, f)).Order(StringComparer.Ordinal)];

    private static IEnumerable<(string Thing, string Check)> Things(VerificationReport report) =>
        report.Failed.Select(c => (c.Thing, c.Check));
}
