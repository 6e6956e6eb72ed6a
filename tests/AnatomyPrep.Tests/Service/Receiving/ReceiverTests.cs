using System.Diagnostics;
using System.Net;
using System.Net.NetworkInformation;
using System.Net.Sockets;
using System.Text;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Imaging.Acquire;
using AnatomyPrep.Phantoms.Dicom;
using AnatomyPrep.Phantoms.Series;
using AnatomyPrep.Service.Storage;
using AnatomyPrep.Tests.Imaging.Acquire;

namespace AnatomyPrep.Tests.Service.Receiving;

/// <summary>What real senders send becomes a source, once; what is not ours does not. Sender: DCMTK's storescu.</summary>
public sealed class ReceiverTests : IDisposable
{
    private const string SecondaryCapture = "1.2.840.10008.5.1.4.1.1.7";
    private const string StructureSet = "1.2.840.10008.5.1.4.1.1.481.3";

    private readonly TestFolder _folder = new();

    private string Data => _folder["data"];

    public void Dispose() => _folder.Dispose();

    [Fact]
    public async Task A_series_becomes_a_source_once_also_when_sent_twice_and_its_identifiers_stay_in_its_files()
    {
        var who = Identity.FullOfTelltales(7);
        var phantom = Phantom.Ball() with { Identity = who };
        var files = Write(phantom);
        await using (var service = await RunningService.StartAsync(Data, RunningService.Receiver("SCANNER1")))
        {
            Scanner.Send(service.ReceiverPort, "SCANNER1", files).Should().Be(0);
            var source = await service.Until(() => service.Sources.List(10) is [var found, ..] ? found : null, "no source");
            source.Files.Should().Be(files.Count);
            source.PatientKey.Should().HaveLength(64);
            var images = Path.Combine(Data, "sources", source.Id, "images");
            Pixels(Directory.GetFiles(images)).Should().BeEquivalentTo(Pixels(files), "the images are those that were sent");

            Scanner.Send(service.ReceiverPort, "SCANNER1", files).Should().Be(0);
            Scanner.Send(service.ReceiverPort, "SCANNER1", files.Take(3)).Should().Be(0);
            await service.Settled();
            service.Sources.List(10).Should().ContainSingle();
            service.Events.After(0, 100).Count(e => e.Event.Kind == "source.filed").Should().Be(1);

            var told = service.Log.Text + string.Join('\n', service.Events.After(0, 100).Select(e => e.Event.ToString()));
            ShouldNameNobody(told, phantom, who);
        }

        foreach (var entry in Directory.EnumerateFileSystemEntries(Data, "*", SearchOption.AllDirectories))
        {
            ShouldNameNobody(Path.GetRelativePath(Data, entry), phantom, who);
            if (File.Exists(entry) && !entry.EndsWith(".dcm", StringComparison.Ordinal))
                ShouldNameNobody(Encoding.Latin1.GetString(File.ReadAllBytes(entry)), phantom, who);
        }
    }

    [Fact]
    public async Task A_receiver_killed_in_the_middle_costs_its_association_and_nothing_else()
    {
        var files = Write(Phantom.Ball(slices: 150));
        await using var service = await RunningService.StartAsync(Data, RunningService.Receiver("SCANNER1"));
        using (var sender = Scanner.Start(service.ReceiverPort, "SCANNER1", files))
        {
            await service.Until(() => Directory.EnumerateFiles(Path.Combine(Data, "receiving"), "*.dcm", SearchOption.AllDirectories).Skip(2).FirstOrDefault(), "nothing received");
            KillReceiverChild();
            Scanner.End(sender).Should().NotBe(0, "the sender is told");
        }

        Scanner.Send(service.ReceiverPort, "SCANNER1", files).Should().Be(0);
        await service.Until(() => service.Sources.List(10).FirstOrDefault(x => x.ReplacedBy is null && x.Files == files.Count), "no source");
        await service.Settled();
        service.Sources.List(10).Count(x => x.ReplacedBy is null).Should().Be(1);
        service.Events.After(0, 100).Should().Contain(e => e.Event.Kind == "receiver.failed" && e.Event.Detail == "storescp ended by signal 9");
    }

    [Fact]
    public async Task Images_that_come_after_the_series_was_filed_make_a_source_that_replaces_the_first()
    {
        var files = Write(Phantom.Ball());
        await using var service = await RunningService.StartAsync(Data, RunningService.Receiver("SCANNER1"));
        Scanner.Send(service.ReceiverPort, "SCANNER1", files.Take(5)).Should().Be(0);
        var first = await service.Until(() => service.Sources.List(10) is [var found, ..] ? found : null, "no source");
        Scanner.Send(service.ReceiverPort, "SCANNER1", files).Should().Be(0);
        var second = await service.Until(() => service.Sources.List(10).FirstOrDefault(s => s.Id != first.Id), "no second source");
        second.Files.Should().Be(files.Count);
        service.Sources.Find(first.Id)!.ReplacedBy.Should().Be(second.Id);
        service.Events.After(0, 100).Should().Contain(e => e.Event.Code == FindingCodes.SeriesGrew && e.Event.Subject == second.Id);
        Directory.GetFiles(Path.Combine(Data, "sources", first.Id, "images")).Should().HaveCount(5, "a source is never changed");
    }

    [Theory]
    [InlineData("SCANNER2")]
    [InlineData("$(touch zy)")]
    [InlineData("`touch zy`")]
    [InlineData("../../../x")]
    public async Task Files_of_an_unknown_calling_title_are_set_aside_and_no_word_of_it_is_obeyed(string title)
    {
        var files = Write(Phantom.Ball());
        await using var service = await RunningService.StartAsync(Data, RunningService.Receiver("SCANNER1"));
        Scanner.Send(service.ReceiverPort, title, files).Should().Be(0);
        var aside = await service.Until(() => service.Quarantine.Undecided() is [var found, ..] ? found : null, "nothing set aside");
        await service.Settled();
        aside.Code.Should().Be(FindingCodes.CallingTitleUnknown);
        aside.Files.Should().Be(files.Count);
        aside.SourceTitle.Should().Be(title == "SCANNER2" ? title : null, "only what can be a title is kept");
        Directory.GetFiles(Path.Combine(Data, "quarantine", aside.Id)).Should().HaveCount(files.Count);
        service.Sources.List(10).Should().BeEmpty();
        Directory.GetFiles(Directory.GetCurrentDirectory(), "zy*").Should().BeEmpty();
        Directory.EnumerateFiles(_folder.Path, "zy*", SearchOption.AllDirectories).Should().BeEmpty();
    }

    [Fact]
    public async Task What_is_not_a_whole_CT_image_is_refused_with_a_finding_and_its_neighbours_are_taken()
    {
        TestCt.Slice(50, 50).With(Tag.SopClassUid, "UI", SecondaryCapture).With(Tag.Modality, "CS", "OT").Save(_folder["capture.dcm"]);
        TestCt.Slice(51, 51).With(Tag.SopClassUid, "UI", StructureSet).With(Tag.Modality, "CS", "RTSTRUCT").Without(Tag.PixelData).Without(Tag.Rows).Save(_folder["structures.dcm"]);
        TestCt.Slice(52, 52).WithPixels(new ushort[11]).Save(_folder["cut.dcm"]);
        for (var k = 0; k < 4; k++)
            TestCt.Slice(k, k).Save(_folder[$"ct{k}.dcm"]);
        await using var service = await RunningService.StartAsync(Data, RunningService.Receiver("SCANNER1"));
        Scanner.Send(service.ReceiverPort, "SCANNER1", Directory.GetFiles(_folder.Path, "*.dcm")).Should().Be(0);
        var source = await service.Until(() => service.Sources.List(10) is [var found, ..] ? found : null, "no source");
        source.Files.Should().Be(4);
        service.Events.After(0, 100).Where(e => e.Event.Kind == "arrival.refused").Select(e => e.Event.Code).Should()
            .BeEquivalentTo(FindingCodes.FileNotCt, FindingCodes.FileNotImage, FindingCodes.FileTruncated);
        Directory.EnumerateFiles(Data, "*.dcm", SearchOption.AllDirectories).Should().HaveCount(4, "what was refused is not kept");
    }

    [Fact]
    public async Task A_peer_that_talks_nonsense_or_breaks_off_leaves_nothing_and_others_are_served()
    {
        var files = Write(Phantom.Ball());
        await using var service = await RunningService.StartAsync(Data, RunningService.Receiver("SCANNER1"));
        foreach (var words in new[] { "GET / HTTP/1.1\r\n\r\n"u8.ToArray(), [1, 0, 0, 0, 0xFF, 0xFF, 0xFF, 0xFF, 0, 1], new byte[4096], [] })
        {
            using var peer = new TcpClient("127.0.0.1", service.ReceiverPort);
            peer.GetStream().Write(words);
        }

        Scanner.Send(service.ReceiverPort, "SCANNER1", files, "--abort").Should().Be(0);
        Scanner.Send(service.ReceiverPort, "SCANNER1", files).Should().Be(0);
        await service.Until(() => service.Sources.List(10).FirstOrDefault(x => x.ReplacedBy is null && x.Files == files.Count), "no source");
        await service.Settled();
        service.Sources.List(10).Count(x => x.ReplacedBy is null).Should().Be(1);
    }

    [Fact]
    public async Task It_listens_on_loopback_only_and_refuses_peers_that_are_not_listed()
    {
        var files = Write(Phantom.Ball());
        var settings = new { receiver = new { enabled = true, port = 0, callingTitles = new[] { "SCANNER1" }, peers = new[] { "10.9.0.0/16" } } };
        await using var service = await RunningService.StartAsync(Data, settings);
        IPGlobalProperties.GetIPGlobalProperties().GetActiveTcpListeners().Where(l => l.Port == service.ReceiverPort)
            .Should().ContainSingle().Which.Address.Should().Be(IPAddress.Loopback);
        Scanner.Send(service.ReceiverPort, "SCANNER1", files).Should().NotBe(0);
        await service.Until(() => service.Events.After(0, 10).FirstOrDefault(e => e.Event.Kind == "receiver.refused"), "no event");
    }

    [Fact]
    public async Task With_TLS_only_a_peer_with_the_right_certificate_is_heard()
    {
        var files = Write(Phantom.Ball());
        foreach (var name in new[] { "ours", "theirs" })
            using (var openssl = Process.Start(new ProcessStartInfo("openssl", ["req", "-x509", "-newkey", "rsa:2048", "-nodes", "-keyout", _folder[$"{name}.key"], "-out", _folder[$"{name}.pem"], "-subj", $"/CN={name}", "-days", "2"]) { RedirectStandardError = true, RedirectStandardOutput = true })!)
                Scanner.End(openssl).Should().Be(0);
        var settings = new
        {
            receiver = new { enabled = true, port = 0, callingTitles = new[] { "SCANNER1" }, tlsKey = _folder["ours.key"], tlsCertificate = _folder["ours.pem"], tlsAuthority = _folder["ours.pem"] },
            intake = new { quietSeconds = 0.6 },
        };
        await using var service = await RunningService.StartAsync(Data, settings);
        Scanner.Send(service.ReceiverPort, "SCANNER1", files).Should().NotBe(0, "plain");
        Scanner.Send(service.ReceiverPort, "SCANNER1", files, "+tls", _folder["theirs.key"], _folder["theirs.pem"], "+cf", _folder["ours.pem"]).Should().NotBe(0, "a certificate of somebody else");
        service.Sources.List(10).Should().BeEmpty();
        Scanner.Send(service.ReceiverPort, "SCANNER1", files, "+tls", _folder["ours.key"], _folder["ours.pem"], "+cf", _folder["ours.pem"]).Should().Be(0);
        (await service.Until(() => service.Sources.List(10) is [var found, ..] ? found : null, "no source")).Files.Should().Be(files.Count);
    }

    [Fact]
    public async Task A_service_killed_in_the_middle_goes_on_at_the_next_start()
    {
        var files = Write(Phantom.Ball(slices: 150));
        Directory.CreateDirectory(Data);
        File.WriteAllText(Path.Combine(Data, "settings.json"), """{ "receiver": { "enabled": true, "port": 0, "callingTitles": ["SCANNER1"] }, "intake": { "quietSeconds": 0.6 } }""");
        using (var served = ServedProcess.Start(Data))
        {
            using var sender = Scanner.Start(served.ReceiverPort, "SCANNER1", files);
            SpinWait.SpinUntil(() => Directory.EnumerateFiles(Path.Combine(Data, "receiving"), "*.dcm", SearchOption.AllDirectories).Skip(2).Any(), TimeSpan.FromSeconds(20)).Should().BeTrue();
            served.Kill();
            Scanner.End(sender).Should().NotBe(0);
        }

        ReceiverChildren().Should().BeEmpty("no child outlives the service");
        await using var service = await RunningService.StartAsync(Data, RunningService.Receiver("SCANNER1"));
        Scanner.Send(service.ReceiverPort, "SCANNER1", files).Should().Be(0);
        await service.Until(() => service.Sources.List(10).FirstOrDefault(s => s.Files == files.Count), "no source");
        await service.Settled();
        service.Sources.List(10).Count(s => s.ReplacedBy is null).Should().Be(1);
    }

    [Fact]
    public async Task Sources_are_found_again_when_the_database_is_lost()
    {
        var files = Write(Phantom.Ball());
        SourceEntry source;
        await using (var service = await RunningService.StartAsync(Data, RunningService.Receiver("SCANNER1")))
        {
            Scanner.Send(service.ReceiverPort, "SCANNER1", files).Should().Be(0);
            source = await service.Until(() => service.Sources.List(10) is [var found, ..] ? found : null, "no source");
        }

        foreach (var file in Directory.GetFiles(Data, "service.db*"))
            File.Delete(file);
        await using var again = await RunningService.StartAsync(Data, RunningService.Receiver("SCANNER1"));
        again.Sources.List(10).Should().ContainSingle().Which.Should().Be(source);
    }

    private List<string> Write(PhantomSeries phantom) => Phantom.Write(phantom, _folder["sent"]);

    /// <summary>The last bytes of each file: its pixels, whatever header a receiver writes.</summary>
    private static IEnumerable<string> Pixels(IEnumerable<string> files) => files.Select(f => Convert.ToHexString(File.ReadAllBytes(f).AsSpan()[^512..]));

    private static void ShouldNameNobody(string text, PhantomSeries phantom, Identity who)
    {
        foreach (var telltale in who.Telltales)
            text.Should().NotContain(telltale);
        text.Should().NotContain(phantom.StudyUid).And.NotContain(phantom.SeriesUid).And.NotContain(phantom.SopInstanceUid(0));
    }

    private void KillReceiverChild()
    {
        foreach (var id in ReceiverChildren())
            using (var child = Process.GetProcessById(id))
                child.Kill();
    }

    /// <summary>Processes of this test's own data folder, by their command line.</summary>
    private List<int> ReceiverChildren() => [.. Directory.GetDirectories("/proc").Select(d => Path.GetFileName(d)).Where(n => n.All(char.IsAsciiDigit)).Select(int.Parse).Where(IsReceiverChild)];

    private bool IsReceiverChild(int id)
    {
        try
        {
            var words = File.ReadAllText($"/proc/{id}/cmdline").Split('\0');
            return words[0] == "storescp" && words.Any(w => w.StartsWith(Data, StringComparison.Ordinal));
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException)
        {
            return false;
        }
    }
}
