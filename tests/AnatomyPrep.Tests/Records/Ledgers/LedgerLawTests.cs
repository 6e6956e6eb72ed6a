using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Ledgers;
using AnatomyPrep.Records.Ledgers.Checks;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.Models;
using AnatomyPrep.Records.Ledgers.People;
using AnatomyPrep.Records.Ledgers.Storage;

namespace AnatomyPrep.Tests.Records.Ledgers;

/// <summary>Who may do what to which model, and when.</summary>
public sealed class LedgerLawTests : IDisposable
{
    private readonly TestFolder _folder = new();
    private readonly LedgerStory _story;

    public LedgerLawTests() => _story = LedgerStory.Begin(new LedgerPlace(_folder.Path));

    public void Dispose()
    {
        _story.Dispose();
        _folder.Dispose();
    }

    [Fact]
    public void Preparer_can_neither_review_nor_release_their_own_model()
    {
        _story.Add("both", "Both Hats", Role.Technician, Role.QualityOfficer);
        _story.Do("cora", LedgerEventKind.Request, LedgerStory.Request(), "M-1/1");
        _story.Do("both", LedgerEventKind.SourceReceived, new SourceReceivedBody(LedgerStory.Sha("source M-1/1"), 1), "M-1/1");
        _story.Do("both", LedgerEventKind.Run, LedgerStory.Run("r", "M-1/1", "both"), "M-1/1");
        var run = new RunReferenceBody(LedgerStory.Sha("r"));
        Refused(() => _story.Do("both", LedgerEventKind.Review, run, "M-1/1"), Refusals.SecondPersonNeeded);
        _story.Do("tom", LedgerEventKind.Review, run, "M-1/1");
        Refused(() => _story.Do("both", LedgerEventKind.Release, run, "M-1/1"), Refusals.SecondPersonNeeded);
        _story.Do("quinn", LedgerEventKind.Release, run, "M-1/1");
        _story.Ledger.Model("M-1/1")!.Stage.Should().Be(ModelStage.Released);
    }

    [Fact]
    public void Run_signed_by_a_service_counts_as_prepared_by_its_operator()
    {
        _story.Add("worker", "Night worker", Role.Service);
        _story.Do("cora", LedgerEventKind.Request, LedgerStory.Request(), "M-1/1");
        _story.Do("worker", LedgerEventKind.SourceReceived, new SourceReceivedBody(LedgerStory.Sha("source M-1/1"), 1), "M-1/1");
        _story.Do("worker", LedgerEventKind.Run, LedgerStory.Run("r", "M-1/1", "quinn"), "M-1/1");
        Refused(() => _story.Do("quinn", LedgerEventKind.Review, new RunReferenceBody(LedgerStory.Sha("r")), "M-1/1"), Refusals.SecondPersonNeeded);
        Refused(() => _story.Do("tom", LedgerEventKind.Run, LedgerStory.Run("r2", "M-1/1", "tina"), "M-1/1"), Refusals.IllegalMove);
    }

    [Fact]
    public void Release_waits_for_every_caution_and_a_new_run_brings_its_own()
    {
        _story.Prepare("M-1/1", LedgerStory.Caution("gantry-tilt"), LedgerStory.Caution("noise-high"), new FindingFact("padding-present", Severity.Note));
        var run = new RunReferenceBody(LedgerStory.Sha("run M-1/1"));
        _story.Do("quinn", LedgerEventKind.Review, run, "M-1/1");
        Refused(() => _story.Do("quinn", LedgerEventKind.Release, run, "M-1/1"), Refusals.UnacknowledgedCaution).Message.Should().Contain("gantry-tilt, noise-high");
        Acknowledge("gantry-tilt");
        Refused(() => Acknowledge("gantry-tilt"), Refusals.IllegalMove);
        Refused(() => Acknowledge("padding-present"), Refusals.IllegalMove);
        Refused(() => _story.Do("quinn", LedgerEventKind.Release, run, "M-1/1"), Refusals.UnacknowledgedCaution);
        Acknowledge("noise-high");
        _story.Do("quinn", LedgerEventKind.Release, run, "M-1/1");

        void Acknowledge(string code) => _story.Do(
            "quinn", LedgerEventKind.FindingAcknowledged, new FindingAcknowledgedBody(LedgerStory.Sha("run M-1/1"), code), "M-1/1", "Looked at on every slice.");
    }

    [Fact]
    public void Every_illegal_move_is_refused_with_its_reason_and_changes_nothing()
    {
        _story.Prepare("M-1/1");
        var run = new RunReferenceBody(LedgerStory.Sha("run M-1/1"));
        var print = new PrintBody("p", "m", "L");
        Illegal("tina", LedgerEventKind.Print, print, "M-1/1").Message.Should().Contain("M-1/1 is prepared; print takes released");
        Illegal("quinn", LedgerEventKind.Release, run, "M-1/1");
        Illegal("cora", LedgerEventKind.Delivery, new DeliveryBody("ward"), "M-1/1");
        Illegal("cora", LedgerEventKind.Request, LedgerStory.Request(), "M-1/1").Message.Should().Contain("requested already");
        Illegal("cora", LedgerEventKind.Request, LedgerStory.Request(), "M-9/2").Message.Should().Contain("first revision");
        Illegal("tina", LedgerEventKind.Print, print, "M-9/1").Message.Should().Contain("never requested");
        Illegal("tom", LedgerEventKind.Revision, new RevisionBody("M-1/1"), "M-1/2").Message.Should().Contain("before release");
        Illegal("quinn", LedgerEventKind.Rejection, run, "M-1/1").Message.Should().Contain("takes a reason");
        Illegal("quinn", LedgerEventKind.Review, new RunReferenceBody(LedgerStory.Sha("another")), "M-1/1").Message.Should().Contain("another than the one named");
        Illegal("tom", LedgerEventKind.Run, LedgerStory.Run("r", "M-2/1", "tom"), "M-1/1").Message.Should().Contain("from source");
        Illegal("tom", LedgerEventKind.Run, LedgerStory.Run("r", "M-1/1", "tom", findings: new FindingFact("mesh-not-solid", Severity.Stop)), "M-1/1").Message.Should().Contain("mesh-not-solid");
        _story.Release("M-1/1");
        Illegal("tom", LedgerEventKind.Run, LedgerStory.Run("r", "M-1/1", "tom"), "M-1/1").Message.Should().Contain("any change after release is a new revision");
        _story.Do("tom", LedgerEventKind.Revision, new RevisionBody("M-1/1"), "M-1/2");
        Illegal("tom", LedgerEventKind.Revision, new RevisionBody("M-1/1"), "M-1/4");
        Illegal("tom", LedgerEventKind.Revision, new RevisionBody("M-7/1"), "M-7/2");
        _story.Do("quinn", LedgerEventKind.Recall, new RecallBody(), "M-1/1", "Wrong side.");
        Illegal("tina", LedgerEventKind.Print, print, "M-1/1").Message.Should().Contain("withdrawn");
        Illegal("quinn", LedgerEventKind.Disposal, new DisposalBody("files"), "M-1/1", "old").Message.Should().Contain("kept until 2036-03-02");
        LedgerTests.Intact(_story, _story.Ledger.Size());
    }

    [Fact]
    public void Failed_inspection_leads_back_to_printing_and_rejection_back_to_preparing()
    {
        _story.Prepare("M-1/1");
        _story.Do("quinn", LedgerEventKind.Rejection, new RunReferenceBody(LedgerStory.Sha("run M-1/1")), "M-1/1", "Wrong threshold.");
        _story.Ledger.Model("M-1/1")!.Should().Match<ModelFacts>(m => m.Stage == ModelStage.Sourced && m.Run == null);
        _story.Do("tom", LedgerEventKind.Run, LedgerStory.Run("run M-1/1", "M-1/1", "tom"), "M-1/1");
        _story.Release("M-1/1");
        _story.Do("tina", LedgerEventKind.Print, new PrintBody("p", "m", "L"), "M-1/1");
        _story.Do("quinn", LedgerEventKind.Inspection, new InspectionBody(false, "gauge"), "M-1/1");
        _story.Ledger.Model("M-1/1")!.Stage.Should().Be(ModelStage.Released);
    }

    /// <summary>The table of privileges as the quality officer's page states it, role by role.</summary>
    [Theory]
    [InlineData(Role.Administrator, LedgerEventKind.Release, LedgerEventKind.Review, LedgerEventKind.Run, LedgerEventKind.Print, LedgerEventKind.Recall, LedgerEventKind.Redaction)]
    [InlineData(Role.Technician, LedgerEventKind.Release, LedgerEventKind.Rejection, LedgerEventKind.Recall, LedgerEventKind.PersonChange, LedgerEventKind.KeyRevocation, LedgerEventKind.BackupRestored)]
    [InlineData(Role.Coordinator, LedgerEventKind.Release, LedgerEventKind.Review, LedgerEventKind.Run, LedgerEventKind.Print, LedgerEventKind.PersonChange, LedgerEventKind.FindingAcknowledged)]
    [InlineData(Role.QualityOfficer, LedgerEventKind.Run, LedgerEventKind.Print, LedgerEventKind.PersonChange, LedgerEventKind.Delivery, LedgerEventKind.BackupRestored, LedgerEventKind.ClockCorrection)]
    [InlineData(Role.Service, LedgerEventKind.Release, LedgerEventKind.Review, LedgerEventKind.FindingAcknowledged, LedgerEventKind.KeyChange, LedgerEventKind.Redaction, LedgerEventKind.Recall)]
    public void Role_lacks_what_its_work_does_not_need(Role role, params LedgerEventKind[] kinds)
    {
        foreach (var kind in kinds)
            Privileges.For(kind).Should().NotContain(role);
        _story.Add("one", "One Role", role);
        foreach (var kind in kinds)
            Refused(() => _story.Ledger.Record(new EventDraft(kind, new RunReferenceBody("x")), "one", LedgerStory.Passphrase), Refusals.RoleNotAllowed);
    }

    [Fact]
    public void A_service_names_the_first_administrator_of_its_own_ledger_and_nobody_else()
    {
        using var folder = new TestFolder();
        using var ledger = Ledger.CreateForService(new LedgerPlace(folder.Path), new TestClock(TimeSpan.FromSeconds(1)), LedgerStory.KeyIterations);
        var keys = new[] { "ada", "eve" }.ToDictionary(p => p, p => ledger.Keys.Create(p, LedgerStory.Passphrase));
        Refused(() => Name("eve", Role.QualityOfficer), Refusals.RoleNotAllowed);
        Name("ada", Role.Administrator);
        Refused(() => Name("eve", Role.Administrator), Refusals.RoleNotAllowed);
        ledger.Record(new EventDraft(LedgerEventKind.PersonChange, new PersonChangeBody("eve", "Eve", [Role.QualityOfficer], PublicKey: keys["eve"])), "ada", LedgerStory.Passphrase);
        ledger.Record(new EventDraft(LedgerEventKind.PersonChange, new PersonChangeBody("ada", "Ada", [Role.Administrator], Active: false)), "ada", LedgerStory.Passphrase);
        Refused(() => Name("eve2", Role.Administrator, keys["eve"]), Refusals.RoleNotAllowed);
        LedgerChecks.Full(ledger, [], RunContext.Default).Failures.Should().BeEmpty();
        Refused(() => _story.Ledger.RecordAsLedger(new EventDraft(LedgerEventKind.PersonChange, new PersonChangeBody("eve", "Eve", [Role.Administrator], PublicKey: keys["eve"]))), Refusals.RoleNotAllowed);

        void Name(string person, Role role, string? key = null) => ledger.RecordAsLedger(new EventDraft(
            LedgerEventKind.PersonChange, new PersonChangeBody(person, person, [role], PublicKey: key ?? keys[person])));
    }

    [Fact]
    public void Signature_carries_printed_name_time_and_meaning()
    {
        _story.Prepare("M-1/1");
        _story.Release("M-1/1");
        var release = _story.Ledger.EventsOf("M-1/1")[^1].Event.Content;
        release.By.Should().Be(new Signatory("quinn", "Quinn Quality", Role.QualityOfficer));
        release.Meaning.Should().Be(Meaning.Released);
        release.At.Should().BeCloseTo(_story.Clock.Now, TimeSpan.FromSeconds(5));
        System.Text.Encoding.UTF8.GetString(release.ToBytes()).Should().Contain("\"meaning\":\"released\"").And.Contain("\"name\":\"Quinn Quality\"");
    }

    [Fact]
    public void Person_who_left_signs_no_more()
    {
        _story.Do("ada", LedgerEventKind.PersonChange, new PersonChangeBody("tom", "Tom Technician", [Role.Technician], Active: false));
        Refused(() => _story.Do("tom", LedgerEventKind.SourceReceived, new SourceReceivedBody("x", 1), "M-1/1"), Refusals.RoleNotAllowed);
        Refused(() => _story.Ledger.Record(new EventDraft(LedgerEventKind.Request, LedgerStory.Request(), ["M-1/1"]), "nobody", LedgerStory.Passphrase), Refusals.PersonUnknown);
    }

    private LedgerRefusedException Illegal(string person, LedgerEventKind kind, object body, string model, string? reason = null) =>
        Refused(() => _story.Do(person, kind, body, model, reason), Refusals.IllegalMove);

    private static LedgerRefusedException Refused(Action act, string code)
    {
        var refusal = act.Should().Throw<LedgerRefusedException>().Which;
        refusal.Code.Should().Be(code);
        return refusal;
    }
}
