using System.Security.Cryptography.X509Certificates;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Ledgers.Checks;
using AnatomyPrep.Records.Ledgers.Storage;

namespace AnatomyPrep.Tests.Records.Ledgers;

/// <summary>Time stamps made by openssl's authority (`openssl ts`), the outside one here.</summary>
[Trait("Kind", "Outside")]
public sealed class HeadStampTests : IDisposable
{
    private const string Authority = """
        [ tsa ]
        default_tsa = authority
        [ authority ]
        serial = serial
        crypto_device = builtin
        signer_cert = authority.pem
        certs = authority.pem
        signer_key = authority.key
        signer_digest = sha256
        default_policy = 1.2.3.4.1
        digests = sha256
        accuracy = secs:1
        ess_cert_id_alg = sha256
        [ req ]
        distinguished_name = name
        [ name ]
        [ stamping ]
        extendedKeyUsage = critical,timeStamping
        basicConstraints = CA:FALSE
        """;

    private readonly TestFolder _folder = new();
    private readonly LedgerStory _story;

    public HeadStampTests()
    {
        _story = LedgerStory.Begin(new LedgerPlace(_folder["ledger"]));
        File.WriteAllText(_folder["ts.cnf"], Authority);
        Openssl("req", "-x509", "-newkey", "rsa:2048", "-nodes", "-keyout", "authority.key", "-out", "authority.pem", "-days", "9000",
            "-subj", "/CN=Stamps", "-config", "ts.cnf", "-extensions", "stamping");
    }

    public void Dispose()
    {
        _story.Dispose();
        _folder.Dispose();
    }

    [Fact]
    public void Stamped_head_is_kept_said_and_checked()
    {
        var (request, size) = HeadStamps.Request(_story.Ledger);
        Stamp(request);
        _story.Prepare("M-1/1");
        HeadStamps.Add(_story.Ledger, File.ReadAllBytes(_folder["answer"])).Size.Should().Be(size);
        var report = LedgerChecks.Full(_story.Ledger, [], RunContext.Default, Trusted("authority.pem"));
        report.Failures.Should().BeEmpty();
        report.Notes.Should().ContainSingle().Which.Should().Contain($"The head of {size} existed at").And.Contain("CN=Stamps");
        Openssl("req", "-x509", "-newkey", "rsa:2048", "-nodes", "-keyout", "other.key", "-out", "other.pem", "-days", "9000", "-subj", "/CN=Other", "-config", "ts.cnf", "-extensions", "stamping");
        LedgerChecks.Full(_story.Ledger, [], RunContext.Default, Trusted("other.pem")).Failures.Should().ContainSingle().Which.Code.Should().Be(LedgerFailures.Stamp);
    }

    [Fact]
    public void Stamp_of_other_data_or_no_stamp_is_refused_and_a_swapped_one_is_named()
    {
        using var elsewhere = LedgerStory.Begin(new LedgerPlace(_folder["elsewhere"]));
        Stamp(HeadStamps.Request(elsewhere.Ledger).Request);
        var answer = File.ReadAllBytes(_folder["answer"]);
        FluentActions.Invoking(() => HeadStamps.Add(_story.Ledger, answer)).Should().Throw<CheckFailedException>();
        FluentActions.Invoking(() => HeadStamps.Add(_story.Ledger, [1, 2, 3])).Should().Throw<CheckFailedException>();
        FluentActions.Invoking(() => HeadStamps.Add(_story.Ledger, [])).Should().Throw<CheckFailedException>();
        _story.Ledger.Locked(s =>
        {
            s.PutStamp(_story.Ledger.Size(), answer);
            return 0;
        });
        LedgerChecks.Full(_story.Ledger, [], RunContext.Default).Failures.Should().ContainSingle().Which.Code.Should().Be(LedgerFailures.Stamp);
    }

    private X509Certificate2Collection Trusted(string name)
    {
        var certificates = new X509Certificate2Collection();
        certificates.ImportFromPemFile(_folder[name]);
        return certificates;
    }

    private void Stamp(byte[] request)
    {
        File.WriteAllBytes(_folder["request"], request);
        File.WriteAllText(_folder["serial"], "01\n");
        Openssl("ts", "-reply", "-queryfile", "request", "-out", "answer", "-config", "ts.cnf");
    }

    private void Openssl(params string[] arguments) => Tool.Run(_folder.Path, "openssl", arguments).Should().Match<(int ExitCode, string Output)>(r => r.ExitCode == 0);
}
