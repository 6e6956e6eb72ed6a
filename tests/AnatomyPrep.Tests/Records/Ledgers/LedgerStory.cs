using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Records.Ledgers;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.Storage;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Tests.Records.Ledgers;

/// <summary>A ledger with its people, and the events of models in the order a laboratory makes them.</summary>
internal sealed class LedgerStory : IDisposable
{
    public const string Passphrase = "a long enough passphrase";

    /// <summary>So that a test does not wait for the real count.</summary>
    public const int KeyIterations = 100;

    private readonly Dictionary<string, SigningKey> _keys = [];

    private LedgerStory(Ledger ledger, TestClock clock)
    {
        Ledger = ledger;
        Clock = clock;
    }

    public Ledger Ledger { get; private set; }

    public TestClock Clock { get; }

    /// <summary>Administrator ada; technicians tom and tina; coordinator cora; quality officers quinn and quade.</summary>
    public static LedgerStory Begin(LedgerPlace place)
    {
        var clock = new TestClock(TimeSpan.FromSeconds(1));
        var story = new LedgerStory(Ledger.Create(place, "ada", "Ada Admin", Passphrase, clock, KeyIterations), clock);
        story.Add("tom", "Tom Technician", Role.Technician);
        story.Add("tina", "Tina Technician", Role.Technician);
        story.Add("cora", "Cora Coordinator", Role.Coordinator);
        story.Add("quinn", "Quinn Quality", Role.QualityOfficer);
        story.Add("quade", "Quade Quality", Role.QualityOfficer);
        return story;
    }

    public void Add(string person, string name, params Role[] roles)
    {
        var pem = Ledger.Keys.Create(person, Passphrase);
        Do("ada", LedgerEventKind.PersonChange, new PersonChangeBody(person, name, roles, PublicKey: pem));
    }

    public SigningKey Key(string person)
    {
        if (!_keys.TryGetValue(person, out var key))
            _keys[person] = key = Ledger.OpenKey(person, Passphrase);
        return key;
    }

    public void ForgetKey(string person)
    {
        if (_keys.Remove(person, out var key))
            key.Dispose();
    }

    public SignedEvent Sign(string person, LedgerEventKind kind, object body, string? model = null, string? reason = null) =>
        Ledger.Sign(new EventDraft(kind, body, model is null ? null : [model], reason), person, Key(person));

    public LedgerReceipt Do(string person, LedgerEventKind kind, object body, string? model = null, string? reason = null) =>
        Ledger.Append(Sign(person, kind, body, model, reason));

    public static string Sha(string text) => SampleRun.Sha256(text);

    public static RequestBody Request(string? subject = null) => new(new RunRequest(Purpose.Education, "skull", 1, Side.Both, "REQ-1"), subject);

    public static RunBody Run(string run, string model, string preparer, string plan = "bone", string software = "AnatomyPrep 0.1.0", params FindingFact[] findings) => new(
        Sha(run), Sha("record " + run), Sha("record key"), Sha("source " + model), plan, Sha("plan " + plan), software, preparer, findings,
        [new NamedFile("model.stl", Sha("stl " + run))]);

    public static FindingFact Caution(string code) => new(code, Severity.Caution);

    /// <summary>Request to prepared, by tom.</summary>
    public void Prepare(string model, params FindingFact[] findings)
    {
        Do("cora", LedgerEventKind.Request, Request(), model);
        Do("tom", LedgerEventKind.SourceReceived, new SourceReceivedBody(Sha("source " + model), 120), model);
        Do("tom", LedgerEventKind.Run, Run("run " + model, model, "tom", findings: findings), model);
    }

    /// <summary>Prepared to released, by quinn.</summary>
    public void Release(string model)
    {
        Do("quinn", LedgerEventKind.Review, new RunReferenceBody(Sha("run " + model)), model);
        Do("quinn", LedgerEventKind.Release, new RunReferenceBody(Sha("run " + model), new DateOnly(2036, 3, 2)), model);
    }

    /// <summary>Released to delivered.</summary>
    public void Deliver(string model, string lot, string to)
    {
        Do("tina", LedgerEventKind.Print, new PrintBody("printer-2", "resin-clear", lot), model);
        Do("tina", LedgerEventKind.PostProcessing, new PostProcessingBody("washed and cured"), model);
        Do("quinn", LedgerEventKind.Inspection, new InspectionBody(true, "caliper, four lengths", 0.2), model);
        Do("cora", LedgerEventKind.Delivery, new DeliveryBody(to), model);
    }

    /// <summary>Closes the ledger and opens it again, as after a restart.</summary>
    public void Reopen()
    {
        var place = Ledger.Place;
        Ledger.Dispose();
        Ledger = Ledger.Open(place, Clock, keyIterations: KeyIterations);
    }

    public void Dispose()
    {
        foreach (var key in _keys.Values)
            key.Dispose();
        Ledger.Dispose();
    }
}
