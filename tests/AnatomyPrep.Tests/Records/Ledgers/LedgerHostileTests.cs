using System.Text;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Envelopes;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Records.Ledgers;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.Storage;

namespace AnatomyPrep.Tests.Records.Ledgers;

/// <summary>Bytes that are no event, however well signed.</summary>
[Trait("Kind", "Hostile")]
public sealed class LedgerHostileTests : IDisposable
{
    private readonly TestFolder _folder = new();
    private readonly LedgerStory _story;

    public LedgerHostileTests() => _story = LedgerStory.Begin(new LedgerPlace(_folder.Path));

    public void Dispose()
    {
        _story.Dispose();
        _folder.Dispose();
    }

    [Theory]
    [InlineData("\"scale\":1", "\"scale\":1,\"scale\":2", "strict JSON")]
    [InlineData("\"scale\":1", "\"scale\":1e999", "strict JSON")]
    [InlineData("\"scale\":1", "\"scale\":1e-999", "strict JSON")]
    [InlineData("\"scale\":1", "\"scale\":1.0", "canonical JSON")]
    [InlineData("\"scale\":1", "\"scale\":\"1\"", "the form of event/v1")]
    [InlineData("\"scale\":1", "\"scale\": 1", "canonical JSON")]
    [InlineData("\"kind\":\"request\"", "\"kind\":\"reqest\"", "the form of event/v1")]
    [InlineData("\"kind\":\"request\"", "\"kind\":0", "the form of event/v1")]
    [InlineData("\"anatomy\":\"skull\",", "", "the form of event/v1")]
    [InlineData("event/v1", "event/v2", "https://anatomyprep.invalid/event/v1")]
    [InlineData("skull", "sk\\ud800ull", "strict JSON")]
    public void Payload_that_could_be_read_two_ways_is_refused(string from, string to, string expected)
    {
        var good = _story.Sign("cora", LedgerEventKind.Request, LedgerStory.Request(), "M-1/1");
        var text = Encoding.UTF8.GetString(good.Payload);
        text.Should().Contain(from);
        var envelope = Dsse.Sign(LedgerEvent.PayloadType, Encoding.UTF8.GetBytes(text.Replace(from, to, StringComparison.Ordinal)), _story.Key("cora")).ToBytes();
        FluentActions.Invoking(() => SignedEvent.Parse(envelope)).Should().Throw<CheckFailedException>().Which.Expected.Should().Be(expected);
        LedgerTests.Intact(_story, _story.Ledger.Size());
    }

    [Theory]
    [InlineData("""{"a":1,"a":2}""", "twice")]
    [InlineData("""{"a":1e400}""", "IEEE")]
    [InlineData("""{"a":}""", "JSON")]
    [InlineData("[1]", "JSON")]
    public void Correction_that_could_be_read_two_ways_is_refused(string now, string expected) =>
        FluentActions.Invoking(() => CorrectionBody.Of("id", now)).Should().Throw<AnatomyPrep.Core.Findings.PlanException>().WithMessage($"*{expected}*");

    [Fact]
    public void Envelope_in_any_other_form_is_refused()
    {
        var good = _story.Sign("cora", LedgerEventKind.Request, LedgerStory.Request(), "M-1/1").Envelope;
        SignedEvent.Parse(good);
        var text = Encoding.UTF8.GetString(good);
        foreach (var bad in new[]
        {
            " " + text, text + "\n", text.Replace(",", ", ", StringComparison.Ordinal), text[..^1], "", "{}", "[]",
            text.Replace("vnd.anatomyprep.event", "vnd.anatomyprep.head", StringComparison.Ordinal),
            text.Replace("\"sig\":\"", "\"sig\":\"=", StringComparison.Ordinal),
            text.Replace("\"payload\":\"", "\"payload\":\" ", StringComparison.Ordinal),
            text.Replace("}]}", "},{}]}", StringComparison.Ordinal),
        })
            FluentActions.Invoking(() => SignedEvent.Parse(Encoding.UTF8.GetBytes(bad))).Should().Throw<CheckFailedException>("of {0}", bad);
        for (var length = 0; length < good.Length; length += 7)
            FluentActions.Invoking(() => SignedEvent.Parse(good[..length])).Should().Throw<CheckFailedException>();
        FluentActions.Invoking(() => SignedEvent.Parse(new byte[LedgerEvent.LargestEnvelopeBytes + 1])).Should().Throw<CheckFailedException>();
    }

    [Fact]
    public void Event_that_claims_another_name_role_or_meaning_is_refused()
    {
        var good = Encoding.UTF8.GetString(_story.Sign("cora", LedgerEventKind.Request, LedgerStory.Request(), "M-1/1").Payload);
        foreach (var (from, to, code) in new[]
        {
            ("Cora Coordinator", "Carla Coordinator", Refusals.EventForm),
            ("\"person\":\"cora\"", "\"person\":\"quinn\"", Refusals.UnknownKey),
            ("\"role\":\"coordinator\"", "\"role\":\"qualityOfficer\"", Refusals.RoleNotAllowed),
            ("\"meaning\":\"recorded\"", "\"meaning\":\"released\"", Refusals.EventForm),
            ("M-1/1", "../1", Refusals.IllegalMove),
            ("M-1/1", "M-1/01", Refusals.IllegalMove),
        })
        {
            good.Should().Contain(from);
            var lie = Dsse.Sign(LedgerEvent.PayloadType, Encoding.UTF8.GetBytes(good.Replace(from, to, StringComparison.Ordinal)), _story.Key("cora"));
            LedgerTests.Refused(() => _story.Ledger.Append(SignedEvent.Parse(lie.ToBytes())), code);
        }

        LedgerTests.Intact(_story, _story.Ledger.Size());
    }

    [Fact]
    public void Forged_head_and_head_of_another_ledger_are_refused()
    {
        var envelope = _story.Ledger.PublishHead();
        var head = TreeHead.Read(envelope, out var keyId);
        keyId.Should().Be(_story.Ledger.People.LogKeyId);
        using var stranger = SigningKey.Create();
        using var key = VerificationKey.FromPem(_story.Ledger.People.FindKey(keyId)!.Pem, "key");
        foreach (var forged in new[] { head.Sign(stranger), (head with { Size = 1 }).Sign(stranger) })
            FluentActions.Invoking(() => TreeHead.Verify(forged, key)).Should().Throw<CheckFailedException>().Which.Check.Should().Be("head signature");
    }

    [Fact]
    public void Place_without_a_ledger_with_one_already_or_with_garbage_is_named()
    {
        using var other = new TestFolder();
        LedgerTests.Refused(() => Ledger.Open(new LedgerPlace(other.Path), _story.Clock), Refusals.LedgerMissing);
        File.WriteAllText(other["ledger.db"], "this is no database, and long enough to be taken for one " + new string('x', 5000));
        LedgerTests.Refused(() => Ledger.Open(new LedgerPlace(other.Path), _story.Clock), Refusals.DatabaseDamaged);
        LedgerTests.Refused(() => LedgerStory.Begin(new LedgerPlace(_folder.Path)), Refusals.LedgerExists);
        LedgerTests.Refused(() => Ledger.Open(new LedgerPlace(other.Path, "Host=/nowhere;Username=x;Database=y;Timeout=2"), _story.Clock), Refusals.DatabaseUnreachable);
    }

    [Fact]
    public void Missing_ledger_key_lets_read_and_refuses_to_append()
    {
        var signed = _story.Sign("cora", LedgerEventKind.Request, LedgerStory.Request(), "M-1/1");
        var size = _story.Ledger.Size();
        var file = Directory.GetFiles(_folder["keys"], "ledger-*.pem").Single();
        File.Move(file, file + ".away");
        _story.Reopen();
        LedgerTests.Refused(() => _story.Ledger.Append(signed), Refusals.UnknownKey);
        LedgerTests.Intact(_story, size);
        File.Move(file + ".away", file);
        _story.Ledger.Append(signed);
    }

    [Fact]
    public void Read_only_opening_answers_and_refuses_to_append()
    {
        var signed = _story.Sign("cora", LedgerEventKind.Request, LedgerStory.Request(), "M-1/1");
        using var reader = Ledger.Open(new LedgerPlace(_folder.Path), _story.Clock, readOnly: true);
        var size = reader.Size();
        LedgerTests.Refused(() => reader.Append(signed), Refusals.DatabaseReadOnly);
        reader.Size().Should().Be(size);
        LedgerTests.Intact(_story, size);
    }
}
